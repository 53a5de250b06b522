"""The week for the Friday meeting: which texts there were, which were true, how soon somebody answered.

One row is one text: a notice that somebody was told, to however many people. Every figure of the page is counted
from these rows, so that they add up.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from statistics import median
from typing import Final

from rules.model import MINUTE_MS, Instant
from service.localtime import local
from service.reports.happenings import ASKING, Happened, told_of
from service.reports.week import Week
from service.storage import happenings, night_notes, rooms
from service.storage.database import Connection
from service.storage.rows import Record
from service.storage.truths import Harm, What

MOST_NUISANCES: Final = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """One text."""

    notice_key: str
    kind: str
    told_ms: Instant
    """When the first person had it."""
    at_night: bool
    happened: Happened
    names: tuple[str, ...]
    """Whom it went to; somebody who got it twice stands here twice."""
    words: str

    @property
    def was_true(self) -> bool | None:
        """See :func:`was_true`."""
        return was_true(self.happened.truth)

    @property
    def cause(self) -> str:
        """What it turned out to be; empty while nobody said."""
        truth = self.happened.truth
        return "" if truth is None else str(truth["what"])


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Texts about one thing in one room, of one cause."""

    about: Happened
    """One of its happenings: they are all about the same."""
    cause: str
    texts: int
    true: int
    for_nothing: int

    @property
    def not_said(self) -> int:
        """Of which nobody has said what it was."""
        return self.texts - self.true - self.for_nothing


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """One happening that people were asked about, and when the first of them answered."""

    happened: Happened
    first_ms: Instant
    answered_ms: Instant | None
    by: str

    @property
    def minutes(self) -> int | None:
        """From the first text to the first answer; ``None`` while nobody answered."""
        if self.answered_ms is None:
            return None
        return max(self.answered_ms - self.first_ms, 0) // MINUTE_MS


@dataclass(frozen=True, slots=True, kw_only=True)
class FridayWeek:
    """The whole week."""

    farm: Record
    week: Week
    texts: tuple[Told, ...]
    asked: tuple[Asked, ...]
    trials: tuple[Record, ...]
    """Tests that nobody answered."""

    @property
    def by_night(self) -> int:
        """Texts between evening and morning round."""
        return sum(text.at_night for text in self.texts)

    @property
    def true(self) -> int:
        """Texts that were worth it."""
        return sum(text.was_true is True for text in self.texts)

    @property
    def for_nothing(self) -> int:
        """Texts that were not."""
        return sum(text.was_true is False for text in self.texts)

    @property
    def not_said(self) -> int:
        """Texts of which nobody has said what it was."""
        return len(self.texts) - self.true - self.for_nothing

    @property
    def groups(self) -> tuple[Group, ...]:
        """Texts by room and cause, the most first."""
        ordered = sorted(self.texts, key=_group_of)
        found = [_group(list(texts)) for _, texts in groupby(ordered, key=_group_of)]
        return tuple(sorted(found, key=lambda group: -group.texts))

    @property
    def nuisances(self) -> tuple[Group, ...]:
        """What there was most for nothing: which limit or probe to look at."""
        found = sorted((g for g in self.groups if g.for_nothing), key=lambda group: -group.for_nothing)
        return tuple(found[:MOST_NUISANCES])

    @property
    def told(self) -> tuple[tuple[str, int], ...]:
        """Who was told how often, the most first."""
        count = Counter(name for text in self.texts for name in text.names)
        return tuple(sorted(count.items(), key=lambda one: (-one[1], one[0])))

    @property
    def answered(self) -> tuple[Asked, ...]:
        """What somebody answered, the longest wait first."""
        return tuple(
            sorted((one for one in self.asked if one.minutes is not None), key=lambda one: -(one.minutes or 0))
        )

    @property
    def unanswered(self) -> tuple[Asked, ...]:
        """What nobody answered."""
        return tuple(one for one in self.asked if one.minutes is None)

    @property
    def median_minutes(self) -> float | None:
        """The median wait for an answer; ``None`` where there was none."""
        return median(one.minutes or 0 for one in self.answered) if self.answered else None


def was_true(truth: Record | None) -> bool | None:
    """Whether a text was worth being woken by (our judgement).

    It was where gear failed, or where the crop shows harm, whatever did it. A door, somebody working, a probe, or
    nothing found, without harm, was for nothing. ``None`` while nobody has said.
    """
    if truth is None:
        return None
    if truth["what"] == What.GEAR or truth["harm"] in {Harm.SOME, Harm.MUCH}:
        return True
    return False if truth["what"] else None


async def friday_week(connection: Connection, farm: Record, week: Week) -> FridayWeek:
    """Read a week."""
    farm_id, to_ms = farm["farm_id"], min(week.to_ms, week.now_ms + 1)
    rows = [
        row
        for row in await happenings.told_between(connection, farm_id, from_ms=week.from_ms, to_ms=to_ms)
        if row["kind"] in ASKING
    ]
    ids = {row["happening_id"] for row in rows}
    names = {room["room_id"]: room["name"] for room in await rooms.all_rooms(connection, farm_id)}
    known = [await happenings.happening(connection, farm_id, happening_id) for happening_id in sorted(ids)]
    happened = {one.happening_id: one for one in await told_of(connection, farm_id, known, names)}
    answers = await happenings.answers_of(connection, farm_id, ids)
    trials = await night_notes.unanswered_trials(connection, farm_id, from_ms=week.from_ms, to_ms=to_ms)
    return FridayWeek(
        farm=farm,
        week=week,
        texts=tuple(_texts(rows, happened, farm)),
        asked=tuple(_asked(rows, happened, answers)),
        trials=tuple(trials),
    )


def _texts(rows: Sequence[Record], happened: Mapping[str, Happened], farm: Record) -> Iterable[Told]:
    by_notice: dict[str, list[Record]] = {}
    for row in rows:
        by_notice.setdefault(row["notice_key"], []).append(row)
    for key, tellings in by_notice.items():
        first = tellings[0]
        yield Told(
            notice_key=key,
            kind=first["kind"],
            told_ms=first["told_ms"],
            at_night=_at_night(first["told_ms"], farm),
            happened=happened[first["happening_id"]],
            names=tuple(row["name"] for row in tellings),
            words=first["text"],
        )


def _at_night(at_ms: Instant, farm: Record) -> bool:
    shown = local(at_ms, farm["zone"])
    minute = shown.hour * 60 + shown.minute
    return not farm["morning_round_minute"] <= minute < farm["evening_round_minute"]


def _asked(rows: Sequence[Record], happened: Mapping[str, Happened], answers: Sequence[Record]) -> Iterable[Asked]:
    first: dict[str, Instant] = {}
    for row in rows:
        first.setdefault(row["happening_id"], row["told_ms"])
    for happening_id, first_ms in first.items():
        answer = next((a for a in answers if a["happening_id"] == happening_id), None)
        yield Asked(
            happened=happened[happening_id],
            first_ms=first_ms,
            answered_ms=None if answer is None else answer["at_ms"],
            by="" if answer is None else answer["name"] or answer["person_id"],
        )


def _group_of(text: Told) -> tuple[str, ...]:
    about = text.happened.about
    quantity = "" if about.quantity is None else about.quantity.value
    side = "" if about.side is None else about.side.value
    name = about.name if about.kind == "silence" else ""
    return text.happened.room, about.kind, quantity, side, name, text.cause


def _group(texts: Sequence[Told]) -> Group:
    return Group(
        about=texts[0].happened,
        cause=texts[0].cause,
        texts=len(texts),
        true=sum(text.was_true is True for text in texts),
        for_nothing=sum(text.was_true is False for text in texts),
    )
