"""Where each batch was, at which stage, from when to when.

A stay says: from this moment on, this batch is in this room at this stage. It holds until the batch's next stay.
Where two stays of a batch begin at the same moment, the one recorded later counts.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any, TypeAlias

from rules.model import Instant

ProfileKey: TypeAlias = tuple[str, int]
"""Name and version of a profile."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stay:
    """A batch in one room at one stage, from a moment to a moment (``None``: until further notice)."""

    batch: str
    room_id: str | None
    stage: str
    profile: ProfileKey
    from_ms: Instant
    to_ms: Instant | None
    stage_since_ms: Instant
    """Since when the batch is at this stage, wherever it was."""
    here_since_ms: Instant
    """Since when it is at this stage in this room: then the room began to be made fit for it."""


def stays_in_order(rows: Sequence[Mapping[str, Any]]) -> list[Stay]:
    """Work out until when each stay holds, and since when the batch is at its stage.

    Args:
        rows: what was written down, by batch, then ``valid_from_ms``, then when it was recorded.
    """
    return [stay for _, group in groupby(rows, key=lambda r: r["batch_id"]) for stay in _of_one_batch(list(group))]


def _of_one_batch(rows: Sequence[Mapping[str, Any]]) -> Iterable[Stay]:
    kept = {row["valid_from_ms"]: row for row in rows}  # later recorded ones come later and win
    moments = sorted(kept)
    stage_since, stage = 0, None
    here_since, here = 0, None
    for moment, after in zip(moments, [*moments[1:], None], strict=True):
        row = kept[moment]
        if row["stage"] != stage:
            stage_since, stage = moment, row["stage"]
        if (row["room_id"], row["stage"]) != here:
            here_since, here = moment, (row["room_id"], row["stage"])
        yield Stay(
            batch=row["batch_id"],
            room_id=row["room_id"],
            stage=row["stage"],
            profile=(row["profile"], row["version"]),
            from_ms=moment,
            to_ms=after,
            stage_since_ms=stage_since,
            here_since_ms=here_since,
        )


def present(stays: Iterable[Stay], room_id: str, at_ms: Instant) -> list[Stay]:
    """The stays that hold in a room at a moment."""
    return [
        s for s in stays if s.room_id == room_id and s.from_ms <= at_ms and (s.to_ms is None or at_ms < s.to_ms)
    ]
