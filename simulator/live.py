"""The stepping loop: past readings as fast as they can be made, then along with the farm clock.

Past and present are one run of one world. Whatever the loop is behind by, at the start or after the
broker was away, goes out as packs of up to a quarter of an hour; once caught up, each reading goes alone.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass, field
from typing import Final

from simulator import farm, senml
from simulator.clock import FarmClock
from simulator.publish import Publisher
from simulator.world import World

STRETCH_MS: Final = 15 * 60_000
PREFIX: Final = "houseband"
"""The first part of every topic."""


@dataclass(slots=True, kw_only=True)
class Progress:
    """Where the loop is; read by the control page."""

    stepped_to_ms: int
    truths: dict[str, dict[str, float]]
    packs_sent: int = 0
    past_packs: int | None = None
    """Packs it took to catch up with the clock the first time; None until then."""
    live: threading.Event = field(default_factory=threading.Event)


def run(world: World, clock: FarmClock, publisher: Publisher, progress: Progress, stop: threading.Event) -> None:
    """Step and publish until told to stop."""
    while not stop.is_set():
        now_ms = clock.farm_now_ms()
        if world.next_step_ms > now_ms:
            _note_live(progress)
            clock.wait_until(world.next_step_ms, stop)
            continue
        readings = world.advance(min(now_ms, world.now_ms + STRETCH_MS))
        for topic, payload in senml.packs(PREFIX, farm.FARM_ID, readings):
            if not publisher.send(topic, payload, stop):
                return
            progress.packs_sent += 1
        progress.stepped_to_ms, progress.truths = world.now_ms, world.truths()


def _note_live(progress: Progress) -> None:
    if progress.past_packs is None:
        progress.past_packs = progress.packs_sent
        progress.live.set()
