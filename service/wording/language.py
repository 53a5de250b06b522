"""The languages people read."""

from __future__ import annotations

from typing import Final, Literal, TypeAlias

Language: TypeAlias = Literal["en", "es"]
LANGUAGES: Final[tuple[Language, ...]] = ("en", "es")
