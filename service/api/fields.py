"""What requests and answers are made of: strict, bounded, and nothing that is not asked for."""

from __future__ import annotations

import unicodedata
from typing import Annotated, Final, Literal, TypeAlias

from pydantic import AfterValidator, BaseModel, ConfigDict, Field

from service.wire.topics import PROBE_ID_RULE, probe_id

_JOINERS: Final = frozenset("\N{ZERO WIDTH JOINER}\N{ZERO WIDTH NON-JOINER}")
"""Invisible, but some scripts cannot spell names without them."""


class Asked(BaseModel):
    """Base of request bodies: no further fields, no type taken for another, finite numbers only."""

    model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False)


class Answered(BaseModel):
    """Base of answers."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)


def one_line(text: str) -> str:
    """Return a name as it is kept: one line, no blank ends, one spelling of accented letters.

    Raises:
        ValueError: blank, or with characters that cannot be seen.
    """
    kept = unicodedata.normalize("NFC", text).strip()
    if not kept:
        raise ValueError("must not be blank")
    if any(not _is_visible(letter) for letter in kept):
        raise ValueError("must be one line of visible characters")
    return kept


def one_line_or_nothing(text: str) -> str:
    """As :func:`one_line`, but may be empty."""
    return one_line(text) if text.strip() else ""


def _is_visible(letter: str) -> bool:
    return letter in _JOINERS or unicodedata.category(letter) not in {"Cc", "Cf", "Cs", "Cn", "Zl", "Zp"}


def _probe(text: str) -> str:
    if probe_id(text) is None:
        raise ValueError(PROBE_ID_RULE)
    return text


Who: TypeAlias = Annotated[
    str, Field(min_length=1, max_length=80, description="Who does this."), AfterValidator(one_line)
]
Name: TypeAlias = Annotated[str, Field(min_length=1, max_length=60), AfterValidator(one_line)]
Note: TypeAlias = Annotated[str, Field(max_length=120), AfterValidator(one_line_or_nothing)]
RoomId: TypeAlias = Annotated[
    str, Field(pattern=r"^[a-z0-9][a-z0-9-]{0,31}$", description="Lower-case letters, digits and hyphens.")
]
PersonId: TypeAlias = Annotated[
    str, Field(pattern=r"^[a-z0-9][a-z0-9-]{0,31}$", description="Lower-case letters, digits and hyphens.")
]
RotaId: TypeAlias = Annotated[
    str, Field(pattern=r"^[a-z0-9][a-z0-9-]{0,31}$", description="Lower-case letters, digits and hyphens.")
]
BatchId: TypeAlias = Annotated[
    str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]{0,59}$", description="Letters, digits, and . _ -")
]
ProfileName: TypeAlias = Annotated[str, Field(pattern=r"^[a-z0-9_]{1,40}$")]
StageName: TypeAlias = Annotated[str, Field(pattern=r"^[a-z0-9_]{1,40}$")]
Version: TypeAlias = Annotated[int, Field(ge=1, le=1_000_000)]
Count: TypeAlias = Annotated[int, Field(ge=1, le=10_000_000)]
ProbeName: TypeAlias = Annotated[str, Field(min_length=1, max_length=64), AfterValidator(_probe)]
Kind: TypeAlias = Literal["fruiting", "incubation", "packing cooler", "tank area", "outside"]
Accepted: TypeAlias = Annotated[
    Literal["accepted"] | None,
    Field(
        description=(
            "Say accepted to make the move although the crops of the room have nothing in common: the least bad "
            "band is then kept as a compromise that who stands for. Without it such a move is refused. Where a "
            "band suits all, nothing is kept."
        )
    ),
]
UnitsName: TypeAlias = Literal["metric", "us"]
Language: TypeAlias = Literal["en"]
"""A language is taken once there are texts in it."""
