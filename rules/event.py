"""What happens to a limit of a room, with the facts of that moment."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from rules.limits import Hold, Key, RoomLimit
from rules.model import Instant, ProbeId, Quantity, Side


class Change(StrEnum):
    """What became true of a limit."""

    RAISED = "raised"
    DEEPENED = "deepened"
    CLEARED = "cleared"
    HELD = "held"
    """There is something to say, and it is held back."""
    RELEASED = "released"
    """The holding back is over; :attr:`Event.beyond` says whether there still is something to say."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """A limit passed for its whole wait, passed far, over, held back or released; with the facts of then."""

    change: Change
    quantity: Quantity
    side: Side
    at_ms: Instant
    began_ms: Instant
    """When the value went beyond the limit."""
    back_ms: Instant | None = None
    """When it came back inside by the margin; only for ``CLEARED``, and ``RELEASED`` when it is over."""
    value: float | None
    first_value: float | None
    worst: float | None
    probe: ProbeId | None
    judged_by: RoomLimit | None
    """``None`` when the limit ended because the room's crop or stage changed."""
    values: Mapping[Quantity, float]
    """What the room's other quantities held at that moment (each by its newest probe)."""
    normal: tuple[Quantity, ...]
    """Those of them with a limit that is not passed."""
    also_beyond: tuple[Key, ...]
    """Other limits of the room that are passed, or being waited on."""
    deepened: bool = False
    """The far limit was passed for its whole wait, by then at the latest."""
    beyond: bool = True
    """Whether the limit is passed at this moment, as far as anybody can say; only ``RELEASED`` leaves it open."""
    hold: Hold | None = None
    """What holds it back; only for ``HELD``."""

    @property
    def key(self) -> Key:
        """The alarm this is about."""
        return (self.quantity, self.side)
