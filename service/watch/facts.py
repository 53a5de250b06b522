"""The facts of a notice, frozen when it is made: plain values that JSON can hold.

Whoever renders a text later reads only these; nothing is looked up again, so a text sent twice says the same.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from rules.cause import first_check
from rules.event import Event
from rules.limits import RoomLimit
from rules.model import MINUTE_MS, Quantity
from service.localtime import stage_day
from service.storage.rooms import COOLER
from service.storage.rows import Record

TREND_STEP: Final[Mapping[Quantity, float]] = {
    Quantity.TEMPERATURE: 0.3,
    Quantity.HUMIDITY: 1.0,
    Quantity.CO2: 50.0,
}
"""A smaller change since the value went beyond its limit is "steady": it is within what a probe wavers."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """What facts need to know of the farm and the room."""

    farm: Record
    room: Record
    probe_places: Mapping[str, str]


def trouble_facts(event: Event, place: Place, limit: RoomLimit) -> dict[str, Any]:
    """The facts of a text about a limit that is passed."""
    crop = limit.crop
    deep = limit.far is not None and event.value is not None and limit.far.is_beyond(event.value)
    cooler = place.room["kind"] == COOLER
    check = first_check(
        event.key, also_beyond=frozenset(event.also_beyond), normal=frozenset(event.normal), cooler=cooler
    )
    return {
        **_common(event, place),
        "species": "" if cooler else crop.profile.text_name,
        "stage": "" if cooler else crop.stage.text_name,
        "stage_day": None if cooler else stage_day(crop.stage_since_ms, event.at_ms, place.farm["zone"]),
        "value": event.value,
        "limit": limit.near.limit,
        "far": deep,
        "minutes": whole_minutes(event.at_ms - event.began_ms),
        "trend": trend(event),
        "place": _place(event, place),
        "normal": [q.value for q in event.normal],
        "first_check": None if check is None else check.value,
        "batch": crop.batch,
        **({} if limit.usual is None else {"usual": limit.usual}),
    }


def held_facts(event: Event, place: Place) -> dict[str, Any]:
    """The facts of something that is not told for a time: what, by whom it is held back, why, and until when."""
    facts = {} if event.judged_by is None else trouble_facts(event, place, event.judged_by)
    if event.hold is None:
        return facts
    hold = {"why": event.hold.why.value, "who": event.hold.who, "until_ms": event.hold.until_ms}
    return {**facts, "hold": hold}


def back_facts(event: Event, place: Place, limit: RoomLimit | None) -> dict[str, Any]:
    """The facts of a text about a limit that is no longer passed."""
    back_ms = event.at_ms if event.back_ms is None else event.back_ms
    return {
        **_common(event, place),
        "value": event.value,
        "worst": event.worst,
        "limit": None if limit is None else limit.near.limit,
        "minutes": whole_minutes(back_ms - event.began_ms),
        "back_ms": back_ms,
        "in_band": None if limit is None else in_band(event, limit),
    }


def _common(event: Event, place: Place) -> dict[str, Any]:
    return {
        "room": place.room["text_name"],
        "quantity": event.quantity.value,
        "side": event.side.value,
        "began_ms": event.began_ms,
        "at_ms": event.at_ms,
        "invented": bool(place.farm["invented"]),
        "zone": place.farm["zone"],
    }


def _place(event: Event, place: Place) -> str | None:
    """Where the farthest-out probe hangs; not said when the room has only one."""
    return place.probe_places.get(event.probe or "") if len(place.probe_places) > 1 else None


def whole_minutes(span_ms: int) -> int:
    """A duration in minutes as a person would say it."""
    return max(0, round(span_ms / MINUTE_MS))


def trend(event: Event) -> str | None:
    """Which way the value has gone since it passed the limit."""
    if event.value is None or event.first_value is None:
        return None
    return trend_between(event.quantity, event.first_value, event.value)


def trend_between(quantity: Quantity, before: float, now: float) -> str | None:
    """Which way a value went from one moment to another."""
    step = TREND_STEP.get(quantity)
    change = now - before
    if step is None or abs(change) < step:
        return None if step is None else "steady"
    return "rising" if change > 0 else "falling"


def in_band(event: Event, limit: RoomLimit) -> bool:
    """Whether the value is back not only past the text limit but inside the band to grow in."""
    band = limit.crop.stage.bands.get(event.quantity)
    if band is None or event.value is None:
        return event.value is not None
    low, high = band.low, band.high
    return (low is None or event.value >= low.value) and (high is None or event.value <= high.value)
