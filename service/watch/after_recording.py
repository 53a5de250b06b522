"""Judging the rooms of freshly recorded readings, without making recording wait for it."""

from __future__ import annotations

import asyncio
from typing import Final

from service.clock import pause
from service.watch.sweep import Sweep

REST_S: Final = 1.0
"""Between two judgements: readings are taken once they have settled, so there is no hurry within a second."""


class AfterRecording:
    """Collects rooms that have new readings, and judges them in its own time."""

    def __init__(self, sweep: Sweep) -> None:
        self.sweep = sweep
        self._rooms: set[str] = set()
        self._noted = asyncio.Event()

    def note(self, rooms: set[str]) -> None:
        """Readings of these rooms were recorded."""
        self._rooms |= rooms
        self._noted.set()

    async def run(self) -> None:
        """Judge until cancelled."""
        while True:
            await self._noted.wait()
            self._noted.clear()
            due, self._rooms = sorted(self._rooms), set()
            await self.sweep.rooms(due)
            await pause(REST_S)
