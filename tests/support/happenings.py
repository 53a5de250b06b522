"""Events and a place for them, for tests of what is told. All names and figures are made up."""

from __future__ import annotations

from typing import Any, Final

from rules.alarm import State
from rules.event import Change, Event
from rules.limits import Crop, Key, RoomLimit, tenderest
from rules.model import Instant
from service.watch.facts import Place
from service.watch.story import Story
from tests.support.rooms import CO2_HIGH, DOOR_PROBE, HUMIDITY_LOW, WARM, crop, minute, text_limit

CROP: Final = crop(
    {
        HUMIDITY_LOW: text_limit(80, far=70, far_wait=3),
        WARM: text_limit(24, margin=1),
        CO2_HIGH: text_limit(1500, margin=100),
    }
)


def room_limit(key: Key = HUMIDITY_LOW, of: Crop = CROP) -> RoomLimit:
    return tenderest([of], from_ms=0).limits[key]


def place(**room: Any) -> Place:
    """A fruiting house with one probe in New York's time zone."""
    usual = {"room_id": "h1", "text_name": "House 1", "kind": "fruiting"}
    return Place(
        farm={"zone": "America/New_York", "invented": 1},
        room={**usual, **room},
        probe_places={DOOR_PROBE: "by the door"},
    )


def event(change: Change, at: float, key: Key = HUMIDITY_LOW, **facts: Any) -> Event:
    """Something that happened to a limit at minute ``at``, begun eight minutes before."""
    usual: dict[str, Any] = {
        "began_ms": minute(at - 8),
        "back_ms": minute(at - 5) if change is Change.CLEARED else None,
        "value": 78.0,
        "first_value": 79.5,
        "worst": 77.0,
        "probe": DOOR_PROBE,
        "judged_by": room_limit(key),
        "values": {},
        "normal": (),
        "also_beyond": (),
    }
    return Event(change=change, quantity=key[0], side=key[1], at_ms=minute(at), **{**usual, **facts})


def story(*, now: float, states: dict[Key, State] | None = None, happening: dict[str, Any] | None = None) -> Story:
    """A room's story, decided on at minute ``now``."""
    return Story(place=place(), now_ms=minute(now), states=dict(states or {}), since={}, happening=happening)


def going_on(began_ms: Instant, *, woke: int = 1) -> dict[str, Any]:
    """A happening that is under way."""
    return {
        "happening_id": f"h1@{began_ms}",
        "room_id": "h1",
        "began_ms": began_ms,
        "ended_ms": None,
        "closed_ms": None,
        "woke": woke,
    }
