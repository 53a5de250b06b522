"""Rooms, crops and readings with sensible defaults, so that a test says only what it is about.

All figures here are made up for the tests. Minutes count from :data:`START_MS`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Final

from rules.condition import Limit
from rules.evaluate import evaluate
from rules.event import Event
from rules.limits import Crop, Key, RoomLimits, tenderest
from rules.model import MINUTE_MS, SECOND_MS, Instant, ProbeId, Quantity, Reading, Side
from rules.profile import Band, Basis, Figure, Profile, Stage, TextLimit
from rules.room_state import RoomState

START_MS: Final[Instant] = 1_795_586_400_000
"""2026-11-25T06:00:00Z, in the middle of nobody's clock change."""

HUMIDITY_LOW: Final[Key] = (Quantity.HUMIDITY, Side.LOW)
HUMIDITY_HIGH: Final[Key] = (Quantity.HUMIDITY, Side.HIGH)
WARM: Final[Key] = (Quantity.TEMPERATURE, Side.HIGH)
COLD: Final[Key] = (Quantity.TEMPERATURE, Side.LOW)
CO2_HIGH: Final[Key] = (Quantity.CO2, Side.HIGH)

DOOR_PROBE: Final = ProbeId("door")
BACK_PROBE: Final = ProbeId("back")


def minute(count: float) -> Instant:
    """The instant ``count`` minutes after the start."""
    return START_MS + round(count * MINUTE_MS)


def in_minutes(at_ms: Instant | None) -> float:
    """How many minutes after the start an instant is."""
    assert at_ms is not None
    return (at_ms - START_MS) / MINUTE_MS


def figure(value: float, *, basis: Basis = Basis.JUDGEMENT) -> Figure:
    return Figure(value=value, basis=basis, source="")


def band(low: float | None = None, high: float | None = None, *, basis: Basis = Basis.JUDGEMENT) -> Band:
    return Band(
        low=None if low is None else figure(low, basis=basis),
        high=None if high is None else figure(high, basis=basis),
    )


def text_limit(
    limit: float = 80,
    *,
    wait: float = 8,
    margin: float = 3,
    recover: float = 5,
    far: float | None = None,
    far_wait: float | None = None,
) -> TextLimit:
    """A text limit; ``wait``, ``recover`` and ``far_wait`` in minutes."""
    return TextLimit(
        limit=figure(limit),
        wait_ms=round(wait * MINUTE_MS),
        recover_margin=margin,
        recover_ms=round(recover * MINUTE_MS),
        far_limit=None if far is None else figure(far),
        far_wait_ms=None if far_wait is None else round(far_wait * MINUTE_MS),
    )


def limit_of(side: Side, text: TextLimit) -> Limit:
    """The bare limit that a text limit sets, without its far one."""
    return Limit(
        side=side,
        limit=text.limit.value,
        wait_ms=text.wait_ms,
        recover_margin=text.recover_margin,
        recover_ms=text.recover_ms,
    )


def stage(
    text_limits: Mapping[Key, TextLimit], *, name: str = "fruiting", bands: Mapping[Quantity, Band] | None = None
) -> Stage:
    return Stage(name=name, text_name=name[:10], bands=bands or {}, text_limits=text_limits)


def profile(*stages: Stage, name: str = "oyster") -> Profile:
    return Profile(
        name=name,
        species="Pleurotus ostreatus",
        label=name.capitalize(),
        text_name=name[:10],
        version=1,
        stages=stages,
        sources={},
    )


def crop(
    text_limits: Mapping[Key, TextLimit],
    *,
    batch: str = "B1",
    wakes: bool = True,
    name: str = "fruiting",
    bands: Mapping[Quantity, Band] | None = None,
) -> Crop:
    grown = stage(text_limits, name=name, bands=bands)
    return Crop(batch=batch, profile=profile(grown), stage=grown, stage_since_ms=START_MS, wakes=wakes)


def limits(
    text_limits: Mapping[Key, TextLimit], *, at: float | None = None, name: str = "fruiting", batch: str = "B1"
) -> RoomLimits:
    """The limits of a room with one crop, from minute ``at`` on; without it, since ever."""
    from_ms = 0 if at is None else minute(at)
    return tenderest([crop(text_limits, name=name, batch=batch)], from_ms=from_ms)


def every_minute(
    values: Iterable[float],
    *,
    start: float = 0,
    step: float = 1,
    probe: ProbeId = DOOR_PROBE,
    quantity: Quantity = Quantity.HUMIDITY,
) -> list[Reading]:
    """One reading after another, ``step`` minutes apart."""
    return [
        Reading(probe=probe, quantity=quantity, at_ms=minute(start + index * step), value=value)
        for index, value in enumerate(values)
    ]


def unjudged() -> RoomState:
    """A room of which nothing is known yet."""
    return RoomState(clock_ms=START_MS - SECOND_MS)


def judged(
    readings: Iterable[Reading], *schedule: RoomLimits, until: float, state: RoomState | None = None
) -> tuple[RoomState, tuple[Event, ...]]:
    """Judge up to minute ``until``."""
    return evaluate(state or unjudged(), schedule=schedule, readings=readings, until_ms=minute(until))


def moves(events: Sequence[Event]) -> list[tuple[str, float]]:
    """What happened, and at which minute: short enough to compare at a glance."""
    return [(event.change.value, in_minutes(event.at_ms)) for event in events]


def open_alarms(state: RoomState) -> set[Key]:
    """The limits whose alarm is open."""
    return {key for key, track in state.tracks.items() if track.is_open}
