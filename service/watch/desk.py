"""What a person at a page, or a program at the API, works with: the farm and the parts that act on it.

Made once by ``service.app`` and handed to every request; nothing in it is global.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from rules.model import Instant
from service.clock import Clock
from service.storage.database import Database
from service.watch.catalogue import Catalogue
from service.watch.horizon import Horizon
from service.watch.sweep import Sweep


@dataclass(frozen=True, slots=True, kw_only=True)
class Desk:
    """The parts of one running service."""

    database: Database
    farm: dict[str, Any]
    """The farm's row; changed in place, so that every part sees a change at once."""
    clock: Clock
    catalogue: Catalogue
    horizon: Horizon
    sweep: Sweep
    recorded: Callable[[set[str]], None]
    """To be told which rooms new readings concern, after they were recorded outside the broker's loop."""
    broker_heard_ms: Callable[[], Instant | None]
    messages_waiting: Callable[[], int]
    ways: frozenset[str]
    """The ways to tell people that are set up."""
    answers_by_text: bool = False
    """Whether texts that people send reach us."""

    @property
    def farm_id(self) -> int:
        """The farm's number."""
        return int(self.farm["farm_id"])
