"""How far judging may go: never past what we have listened to.

While the broker is away no wait may end and no silence may begin: we would be judging our own deafness. On each
connect a marker is sent to ourselves through the broker; everything that queued up while we were away comes before
it. When it is back, we have heard all there was to hear and may judge up to the present.
"""

from __future__ import annotations

from dataclasses import dataclass

from rules.model import MINUTE_MS, Instant

MARKER_WAIT_MS = 2 * MINUTE_MS
"""A marker that is not back by then is given up: better to judge on what we have than not at all."""


@dataclass(slots=True)
class Horizon:
    """Whether we are listening, and since when we may not have been."""

    listens: bool = True
    """False on a farm without a broker: readings then come by HTTP only and nothing is waited for."""
    _deaf_since_ms: Instant | None = None
    _connected_ms: Instant | None = None

    def start_deaf(self, judged_ms: Instant) -> None:
        """Nothing was heard since ``judged_ms``; the broker may hold more."""
        if self.listens:
            self._deaf_since_ms = judged_ms

    def lost(self, at_ms: Instant) -> None:
        """The connection to the broker is gone."""
        self._connected_ms = None
        if self._deaf_since_ms is None:
            self._deaf_since_ms = at_ms

    def connected(self, at_ms: Instant) -> None:
        """The connection is back, a marker is on its way."""
        self._connected_ms = at_ms

    def caught_up(self) -> None:
        """The marker is back: everything queued before it is recorded."""
        self._deaf_since_ms = None

    def limit_ms(self, now_ms: Instant) -> Instant:
        """The last moment that may be judged."""
        if self._deaf_since_ms is None:
            return now_ms
        if self._connected_ms is not None and now_ms - self._connected_ms >= MARKER_WAIT_MS:
            return now_ms
        return min(self._deaf_since_ms, now_ms)

    @property
    def is_listening(self) -> bool:
        """True while nothing stands between the probes and us."""
        return self._deaf_since_ms is None

    @property
    def not_listening_since_ms(self) -> Instant | None:
        """The moment up to which we heard all there was to hear; ``None`` while we are listening."""
        return self._deaf_since_ms
