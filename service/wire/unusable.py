"""How the modules of this package tell each other that something cannot be used."""

from __future__ import annotations

from typing import Final

from service.messages import Reason

_SHOWN_CHARACTERS: Final = 60


class UnusableError(Exception):
    """A value or message cannot be used. Never leaves this package: it becomes a ``Rejected`` value."""

    def __init__(self, reason: Reason, detail: str) -> None:
        """Keep why, in words for people, and what was seen."""
        super().__init__(f"{reason.value}: {detail}")
        self.reason = reason
        self.detail = detail


def quoted(seen: object) -> str:
    """Show a piece of a message in ASCII and shortened.

    What came off the wire may hold NUL, lone surrogates or a megabyte of digits; a database and a log line
    take none of those.
    """
    text = seen if isinstance(seen, str) else _plain(seen)
    shown = ascii(text[:_SHOWN_CHARACTERS])
    return shown + ("..." if len(text) > _SHOWN_CHARACTERS else "")


def _plain(seen: object) -> str:
    try:
        return str(seen)
    except (ValueError, RecursionError):  # an integer of more than 4300 digits; a structure that holds itself
        return f"({type(seen).__name__})"
