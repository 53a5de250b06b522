"""A clock that tests move by hand."""

from __future__ import annotations

from dataclasses import dataclass

from rules.model import Instant


@dataclass(slots=True)
class HandClock:
    """Stands still until it is moved; it can be set back as well, as people do."""

    at_ms: Instant
    factor: float = 1.0

    def now_ms(self) -> Instant:
        return self.at_ms

    def set(self, at_ms: Instant) -> None:
        self.at_ms = at_ms

    def forward(self, span_ms: int) -> None:
        self.at_ms += span_ms
