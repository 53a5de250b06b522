"""How much alarms ask of the farm's people: for the farm, for each room, and for each person.

Farm and rooms count alarms that were raised, whether or not they woke anybody; a person's load is the texts that
went to them about something wrong. For whoever sets limits and waits: no grower's page shows it.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from typing import Final, TypeAlias

from rules.alarm import OPEN
from rules.alarm_load import FLEETING_MS, Load, Told, alarm_load
from rules.alarm_targets import TARGETS, Target, in_flood, meets, steady, value_of
from rules.model import DAY_MS, Instant
from service.errors import NotUnderstood
from service.storage import load as kept
from service.storage import people, rooms
from service.storage.database import Connection
from service.storage.rows import Record

LONGEST_DAYS: Final = 366
BACK: Final = "back"
"""The kind of a notice that tells of an end, and asks nothing of anybody."""

PLAIN: Final[Mapping[str, tuple[str, str]]] = {
    "per_day": ("alarms a day", "alarm rate"),
    "per_hour": ("alarms an hour", "alarm rate"),
    "per_10_min": ("alarms in 10 minutes", "alarm rate"),
    "most_in_any_10_min": ("most alarms in any 10 minutes", "peak alarm rate"),
    "share_of_periods_above_10": ("share of 10 minutes with more than 10 alarms", "alarm rate"),
    "share_of_hours_above_30": ("share of hours with more than 30 alarms", "alarm rate"),
    "share_of_time_in_flood": ("share of time in bursts", "alarm flood"),
    "top_ten_share": ("share of the ten most frequent alarms", "top ten contribution"),
    "chattering": ("alarms that came three times within a minute", "chattering alarm"),
    "fleeting": ("alarms that were over within a minute", "fleeting alarm"),
    "most_stale_on_a_day": ("most alarms on one day that had lasted more than 24 hours", "stale alarm"),
}
"""Each figure in plain words, and the term under which the standards know it."""

_Key: TypeAlias = tuple[str, str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One figure beside what it is held to."""

    figure: str
    term: str
    value: float | None
    unit: str
    on_target: bool | None
    """``None``: it cannot be told."""
    target: str
    manageable: float | None
    whose: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Burst:
    """Alarms faster than anybody can take in."""

    from_ms: Instant
    to_ms: Instant
    alarms: int
    first_10_minutes: int
    grade: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """The load of the farm, of a room or of a person."""

    name: str
    """The room or the person; empty for the farm."""
    load: Load
    texts: int | None = None
    """Everything that went to a person, what told of an end as well."""

    @property
    def lines(self) -> tuple[Line, ...]:
        """Every figure that has a target."""
        return tuple(_line(self.load, target) for target in TARGETS)

    @property
    def bursts(self) -> tuple[Burst, ...]:
        """From 10 minutes with more than 10 alarms until 10 minutes with fewer than 5."""
        return tuple(
            Burst(
                from_ms=flood.from_ms,
                to_ms=flood.to_ms,
                alarms=flood.alarms,
                first_10_minutes=flood.first_period,
                grade=in_flood(flood.first_period).value,
            )
            for flood in self.load.floods
        )

    @property
    def steady(self) -> str:
        """How the average rate is graded."""
        return steady(self.load.per_10_min).value


@dataclass(frozen=True, slots=True, kw_only=True)
class FarmLoad:
    """All of it, for one span."""

    from_ms: Instant
    to_ms: Instant
    farm: Part
    rooms: tuple[Part, ...]
    people: tuple[Part, ...]


async def farm_load(
    connection: Connection, farm_id: int, *, from_ms: Instant, to_ms: Instant, now_ms: Instant
) -> FarmLoad:
    """Work out the load of a span, up to now at most.

    Raises:
        NotUnderstood: the span lies ahead, or is longer than a year.
    """
    to_ms = min(to_ms, now_ms + 1)
    if from_ms >= to_ms:
        raise NotUnderstood("that span has not begun yet")
    if to_ms - from_ms > LONGEST_DAYS * DAY_MS:
        raise NotUnderstood(f"ask for at most {LONGEST_DAYS} days at once")
    raised = await _raised(connection, farm_id, from_ms, to_ms)
    everyone = [one for ones in raised.values() for one in ones]
    return FarmLoad(
        from_ms=from_ms,
        to_ms=to_ms,
        farm=Part(name="", load=alarm_load(everyone, from_ms=from_ms, to_ms=to_ms)),
        rooms=tuple(
            Part(name=room["room_id"], load=alarm_load(_of_room(raised, room), from_ms=from_ms, to_ms=to_ms))
            for room in await rooms.all_rooms(connection, farm_id)
        ),
        people=await _people(connection, farm_id, raised, from_ms, to_ms),
    )


# --- alarms that were raised --------------------------------------------------------------------------------


async def _raised(
    connection: Connection, farm_id: int, from_ms: Instant, to_ms: Instant
) -> dict[_Key, list[Told]]:
    """By alarm, each time it was open in the span, in order."""
    open_states = [state.value for state in OPEN]
    standing = await kept.open_since(connection, farm_id, before_ms=from_ms, open_states=open_states)
    raised = {_key(row): [Told(key=_name(_key(row)), raised_ms=row["since_ms"])] for row in standing}
    moves = await kept.moves_between(connection, farm_id, from_ms=from_ms, to_ms=to_ms)
    for key, of_alarm in groupby(moves, key=_key):
        _follow(raised.setdefault(key, []), _name(key), of_alarm)
    return raised


def _follow(times: list[Told], name: str, moves: Iterable[Record]) -> None:
    """Add what the moves of one alarm open and close; one that neither opens nor closes it changes nothing."""
    for move in moves:
        is_open = bool(times) and times[-1].cleared_ms is None
        opens = move["to_state"] in OPEN
        if opens and not is_open:
            times.append(Told(key=name, raised_ms=move["at_ms"]))
        elif is_open and not opens:
            times[-1] = replace(times[-1], cleared_ms=move["at_ms"])


def _of_room(raised: Mapping[_Key, Sequence[Told]], room: Record) -> list[Told]:
    return [one for key, ones in raised.items() if key[0] == room["room_id"] for one in ones]


def _key(row: Record) -> _Key:
    return row["room_id"], row["quantity"], row["side"]


def _name(key: _Key) -> str:
    return "/".join(key)


# --- what people were told ----------------------------------------------------------------------------------


async def _people(
    connection: Connection, farm_id: int, raised: Mapping[_Key, Sequence[Told]], from_ms: Instant, to_ms: Instant
) -> tuple[Part, ...]:
    # What was told before the span of an alarm that still stands in it stands for the person as well.
    since_ms = min([from_ms, *(one.raised_ms for ones in raised.values() for one in ones)])
    rows = await kept.told_people(connection, farm_id, from_ms=since_ms, to_ms=to_ms)
    parts = []
    for person in await people.all_people(connection, farm_id):
        mine = [row for row in rows if row["person_id"] == person["person_id"]]
        told = [_told(row, raised) for row in mine if row["kind"] != BACK]
        load = alarm_load(told, from_ms=from_ms, to_ms=to_ms)
        texts = sum(row["told_ms"] >= from_ms for row in mine)
        parts.append(Part(name=person["person_id"], load=load, texts=texts))
    return tuple(parts)


def _told(row: Record, raised: Mapping[_Key, Sequence[Told]]) -> Told:
    """A text as an alarm to the one who got it: from then on, until what it told of was over."""
    facts, told_ms = json.loads(row["facts"]), row["told_ms"]
    key = (row["room_id"] or "", facts.get("quantity", row["kind"]), facts.get("side", ""))
    about = [one for one in raised.get(key, ()) if one.raised_ms <= row["at_ms"]]
    if not about:  # of what has no end that we know, only the telling counts
        return Told(key=_name(key), raised_ms=told_ms, cleared_ms=told_ms + FLEETING_MS)
    over_ms = about[-1].cleared_ms
    return Told(key=_name(key), raised_ms=told_ms, cleared_ms=None if over_ms is None else max(over_ms, told_ms))


# --- figures in words ---------------------------------------------------------------------------------------


def _line(load: Load, target: Target) -> Line:
    figure, term = PLAIN[target.figure]
    return Line(
        figure=figure,
        term=term,
        value=value_of(load, target),
        unit=target.unit,
        on_target=meets(load, target),
        target=_target(target),
        manageable=target.manageable,
        whose=target.whose,
    )


def _target(target: Target) -> str:
    if target.least is not None:
        return f"{target.least:g} to {target.most:g}"
    if target.most == 0:
        return "none"
    return f"{'below' if target.below else 'at most'} {target.most:g}"
