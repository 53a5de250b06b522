"""One thing that was looked at when a farm's set-up is checked."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """What was found, in one line for the administrator."""

    subject: str
    says: str
    would_lose: bool = False
    """It costs data or sleep."""

    @property
    def line(self) -> str:
        """The finding as it is printed."""
        return f"{'WOULD LOSE' if self.would_lose else 'fine':<10}  {self.subject}: {self.says}"
