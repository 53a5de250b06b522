"""The evening of the demo: a quiet stretch, a humidifier that stops, and what the phone then gets."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

from simulator import books, farm
from simulator.clock import FarmClock, wall_now_ms
from simulator.moments import farm_time, from_the_wire, on_the_wire, real_time
from simulator.opening import Opened
from simulator.parts import DemoError
from simulator.setting_up import FarmApi
from simulator.text_check import Expected, complaints

PINNING: Final = next(house for house in farm.HOUSES if house.stage == "pinning")
"""The house whose humidifier will stop: pins bear dry air worst."""
FAULT: Final = f"humidifier:{PINNING.room_id}@now"
ANSWER: Final = f"{PINNING.text_name.rpartition(' ')[2]} going"
"""What the text must ask for: the farm has one house of that number."""
STAGE_SPELLINGS: Final = ("pinning", "pins")
MINUTE_MS: Final = 60_000
FED_S: Final = 90.0
FRESH_MS: Final = 3 * MINUTE_MS
"""Newest readings this young mean that the service has caught up with the rooms: they measure each minute."""
MOST_READINGS: Final = 1000

Text = dict[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """The text, and the farm's moments that led to it."""

    text: Text
    fault_ms: int
    crossed_ms: int
    limit: float
    wait_minutes: float


def wait_fed(opened: Opened, api: FarmApi) -> int:
    """Wait until the past is published and the service has caught up; returns how many packs it took."""

    def published() -> int | None:
        state = opened.http.get(f"{opened.at.control}/state").json()
        return state["packs_answered"] if state["live"] else None

    packs = opened.parts.wait_for(published, within_s=FED_S, what="publishing the past readings")
    opened.parts.wait_for(lambda: _caught_up(opened, api), within_s=FED_S, what="recording the past readings")
    return packs


def _caught_up(opened: Opened, api: FarmApi) -> bool | None:
    fresh_ms = opened.clock.farm_now_ms() - FRESH_MS
    newest = {
        probe["probe_id"]: [from_the_wire(value["at"]) for value in probe["newest"]]
        for probe in api.get("/probes")
    }
    return all(min(newest[probe.probe_id], default=0) >= fresh_ms for probe in farm.PROBES) or None


def texts(opened: Opened, *, after: int) -> list[Text]:
    """All texts on the phones that came after the one of this number, oldest first."""
    found: list[Text] = opened.http.get(f"{opened.at.phone}/texts").json()
    return [text for text in found if text["number"] > after]


def quiet_for(opened: Opened, seconds: float, *, after: int) -> None:
    """Let the farm run undisturbed.

    Raises:
        DemoError: a text came although nothing was wrong.
    """
    end_ms = wall_now_ms() + round(seconds * 1000)

    def over_or_text() -> list[Text] | None:
        early = texts(opened, after=after)
        return early if early or wall_now_ms() >= end_ms else None

    if early := opened.parts.wait_for(over_or_text, within_s=seconds + 10, what="a quiet evening"):
        raise DemoError(f"a text came although nothing was wrong: {early[0]['text']!r}")


def stop_humidifier(opened: Opened) -> int:
    """Break it; returns the farm's moment."""
    answer = opened.http.post(f"{opened.at.control}/faults", json={"fault": FAULT})
    answer.raise_for_status()
    return int(answer.json()["start_ms"])


def wait_text(opened: Opened, within_s: float, *, after: int) -> Text:
    """Wait for the first text after the one of this number."""
    return opened.parts.wait_for(
        lambda: next(iter(texts(opened, after=after)), None), within_s=within_s, what="a text about the house"
    )


def news(opened: Opened, *, after: int) -> list[tuple[int, str]]:
    """Texts and answers after the one of this number, in order: their numbers, and a line on each."""
    came = [
        (text["number"], f"A text to {name_of(text['to'])} at {farm_time(text['farm_ms'])}: {text['text']}")
        for text in texts(opened, after=after)
    ]
    written = [
        (one["number"], f"{name_of(one['phone'])} answered at {farm_time(one['farm_ms'])}: {one['text']}")
        for one in opened.http.get(f"{opened.at.phone}/answers").json()
        if one["number"] > after
    ]
    return sorted([*came, *written])


def name_of(phone: str) -> str:
    """Whose phone it is."""
    owner = books.OWNERS.get(phone)
    return phone if owner is None else owner.name


def what_led_to(api: FarmApi, text: Text, fault_ms: int) -> Told:
    """Ask the service for the house's limit and for the reading that first went under it."""
    limit, wait_minutes = _limit_and_wait(api)
    readings = _readings(api, fault_ms, room=PINNING.room_id, quantity="humidity")
    under = [from_the_wire(row["at"]) for row in readings if row["value"] < limit]
    if not under:
        raise DemoError(f"a text came and no reading was under {limit:g} %: {text['text']!r}")
    return Told(text=text, fault_ms=fault_ms, crossed_ms=min(under), limit=limit, wait_minutes=wait_minutes)


def _readings(api: FarmApi, from_ms: int, **which: str) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = api.get(
        "/readings", **{"from": on_the_wire(from_ms)}, limit=MOST_READINGS, **which
    )["rows"]
    return rows


def _limit_and_wait(api: FarmApi) -> tuple[float, float]:
    for row in api.get(f"/rooms/{PINNING.room_id}")["limits"]:
        if (row["quantity"], row["side"]) == ("humidity", "low"):
            return float(row["limit"]), float(row["wait_minutes"])
    raise DemoError(f"{PINNING.text_name} has no limit for low humidity")


def wrong_with(told: Told) -> list[str]:
    """What is wrong with the text, judged by the readings and the farm's books."""
    expected = Expected(
        room=PINNING.text_name,
        crop=next(batch.profile for batch in books.BATCHES if batch.room_id == PINNING.room_id),
        stages=STAGE_SPELLINGS,
        limit=told.limit,
        wait_minutes=told.wait_minutes,
        lasted_minutes=(told.text["farm_ms"] - told.crossed_ms) / MINUTE_MS,
        answer=ANSWER,
        note=farm.INVENTED,
    )
    return complaints(told.text["text"], expected)


def times(told: Told, clock: FarmClock) -> Iterator[str]:
    """Lines that say when what happened, by both clocks."""
    yield f"{'':24}{'farm clock':22}{'real time, UTC':22}after the fault"
    moments = {
        "humidifier stopped": told.fault_ms,
        f"first under {told.limit:g} %": told.crossed_ms,
        "text received": told.text["farm_ms"],
    }
    for what, at_ms in moments.items():
        after = (at_ms - told.fault_ms) / MINUTE_MS
        yield f"{what:24}{farm_time(at_ms):22}{real_time(clock.wall_at_ms(at_ms)):22}{after:.1f} min"
