"""How many wrong addresses were tried lately, whoever tried: two numbers, however many come.

Only those who guess are turned away. A right address is known by its signature before this is asked.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from rules.model import MINUTE_MS, Instant

MOST: Final = 30
"""So many in a minute may be somebody's broken mail program; a guesser needs some 2^79 tries."""
WITHIN_MS: Final = MINUTE_MS
REST_MS: Final = 5 * MINUTE_MS


@dataclass(slots=True)
class Guesses:
    """The wrong addresses of the present minute."""

    began_ms: Instant = 0
    count: int = 0
    resting_until_ms: Instant = 0

    def is_too_many(self, now_ms: Instant) -> bool:
        """Count one more wrong address at this moment."""
        if self._is_resting(now_ms):
            return True
        if not 0 <= now_ms - self.began_ms < WITHIN_MS:
            self.began_ms, self.count = now_ms, 0
        self.count += 1
        if self.count > MOST:
            self.resting_until_ms = now_ms + REST_MS
        return self._is_resting(now_ms)

    def _is_resting(self, now_ms: Instant) -> bool:
        """A clock that was set back must not make a rest longer than it is."""
        return 0 < self.resting_until_ms - now_ms <= REST_MS
