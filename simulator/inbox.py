"""What the pretend text gateway holds: texts to phones, phones that are switched off, and what people answered.

A text that comes again under the same key is the same text: it is counted, not kept twice.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass, replace
from typing import Final

from pydantic import BaseModel, Field

from simulator.clock import FarmClock

MOST_TEXTS: Final = 500
"""Older ones fall off: it is a phone."""


class Incoming(BaseModel):
    """What a text gateway takes."""

    to: str = Field(min_length=1, max_length=40)
    text: str = Field(min_length=1, max_length=2000)


@dataclass(frozen=True, slots=True, kw_only=True)
class Received:
    """One text as it came, and what became of it."""

    number: int
    to: str
    text: str
    key: str | None
    wall_ms: int
    farm_ms: int
    repeats: int = 0
    arrived_ms: int | None = None
    """When it reached the phone, by the farm's clock; none while the phone is switched off."""
    receipt: str | None = None
    """What came back when the service was told that it arrived."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Written:
    """One text that somebody wrote on a phone."""

    number: int
    phone: str
    text: str
    wall_ms: int
    farm_ms: int
    came_back: str | None = None
    """What the service said to it."""


class Inbox:
    """Texts in the order they came; safe to use from several threads."""

    def __init__(self, clock: FarmClock) -> None:
        self._clock = clock
        self._lock = threading.Lock()
        self._texts: dict[int, Received] = {}
        self._written: dict[int, Written] = {}
        self._off: set[str] = set()
        self._last_number = 0

    def take(self, incoming: Incoming, key: str | None) -> tuple[Received, bool]:
        """Keep a text; True when it was a repeat of one already here."""
        with self._lock:
            known = next((one for one in self._texts.values() if key is not None and one.key == key), None)
            received = (
                self._received(incoming, key) if known is None else replace(known, repeats=known.repeats + 1)
            )
            self._texts[received.number] = received
            _forget_oldest(self._texts)
            return received, known is not None

    def texts(self) -> list[Received]:
        """All texts that the gateway took, also those that wait for a phone."""
        with self._lock:
            return list(self._texts.values())

    def note_receipt(self, number: int, receipt: str) -> None:
        """Write down what the service said to a receipt."""
        with self._lock:
            if number in self._texts:
                self._texts[number] = replace(self._texts[number], receipt=receipt)

    def is_off(self, phone: str) -> bool:
        return phone in self._off

    def switch_off(self, phone: str) -> None:
        """From now on texts to this phone wait."""
        with self._lock:
            self._off.add(phone)

    def switch_on(self, phone: str) -> list[Received]:
        """Let a phone have its texts; returns those that had waited."""
        with self._lock:
            self._off.discard(phone)
            now_ms = self._clock.farm_now_ms()
            waited = [one for one in self._texts.values() if one.to == phone and one.arrived_ms is None]
            arrived = {one.number: replace(one, arrived_ms=now_ms) for one in waited}
            self._texts |= arrived
            return list(arrived.values())

    def write(self, phone: str, text: str) -> Written:
        """Keep what somebody wrote on a phone."""
        with self._lock:
            wall_ms, farm_ms = self._now_ms()
            written = Written(number=self._next(), phone=phone, text=text, wall_ms=wall_ms, farm_ms=farm_ms)
            self._written[written.number] = written
            _forget_oldest(self._written)
            return written

    def note_answer(self, number: int, came_back: str) -> Written:
        """Write down what the service said to what somebody wrote."""
        with self._lock:
            self._written[number] = replace(self._written[number], came_back=came_back)
            return self._written[number]

    def written(self) -> list[Written]:
        """All that people wrote, in order."""
        with self._lock:
            return list(self._written.values())

    def _received(self, incoming: Incoming, key: str | None) -> Received:
        wall_ms, farm_ms = self._now_ms()
        return Received(
            number=self._next(),
            to=incoming.to,
            text=incoming.text,
            key=key,
            wall_ms=wall_ms,
            farm_ms=farm_ms,
            arrived_ms=None if incoming.to in self._off else farm_ms,
        )

    def _now_ms(self) -> tuple[int, int]:
        wall_ms = self._clock.read_wall_ms()
        return wall_ms, self._clock.farm_at_ms(wall_ms)

    def _next(self) -> int:
        self._last_number += 1
        return self._last_number


def _forget_oldest(kept: dict[int, Received] | dict[int, Written]) -> None:
    while len(kept) > MOST_TEXTS:
        del kept[min(kept)]
