"""Setting the farm up as its people would: through the service's own API, in their names."""

from __future__ import annotations

from typing import Any

import httpx

from simulator import books, farm
from simulator.moments import on_the_wire
from simulator.parts import DemoError

OUTSIDE_KIND = "outside"
TELLING_TIMES = ("day", "night")


class FarmApi:
    """The service's API, with complaints that a person can read."""

    def __init__(self, http: httpx.Client, url: str) -> None:
        self._http = http
        self._url = f"{url}/api"

    def get(self, path: str, **query: str | int) -> Any:
        """Ask for something."""
        return self._done(self._http.get(self._url + path, params=query))

    def put(self, path: str, body: dict[str, Any]) -> Any:
        """Set something."""
        return self._done(self._http.put(self._url + path, json=body))

    def post(self, path: str, body: dict[str, Any]) -> Any:
        """Add something."""
        return self._done(self._http.post(self._url + path, json=body))

    def _done(self, answer: httpx.Response) -> Any:
        if answer.is_success:
            return answer.json()
        asked = answer.request
        raise DemoError(f"{asked.method} {asked.url.path} was answered {answer.status_code}: {answer.text[:500]}")


def set_up_farm(api: FarmApi, anchor_ms: int) -> None:
    """Write down the farm, its rooms, probes, crops and people, all from before the first past reading."""
    who = {"who": books.GROWER}
    api.put("/farm", _farm() | who)
    for room in _rooms():
        api.post("/rooms", room | who)
    placed = on_the_wire(anchor_ms - _ms(books.PLACED_HOURS))
    for probe in farm.PROBES:
        body = {"room_id": probe.room_id, "place": probe.place, "from": placed}
        api.post(f"/probes/{probe.probe_id}/placements", body | who)
    for batch in books.BATCHES:
        api.post("/batches", _batch(batch, anchor_ms) | who)
    for profile, stage in sorted({(batch.profile, batch.stage) for batch in books.BATCHES}):
        api.post(f"/profiles/{profile}/confirmations", {"stage": stage} | who)
    _set_up_people(api, who)


def end_first_days(api: FarmApi) -> None:
    """From now on the rooms may wake somebody.

    Done after the past readings: fed within seconds, they are judged in portions, and a dry hour of last night
    must not wake anybody because its end came with a later portion.
    """
    for house in farm.HOUSES:
        api.post(f"/rooms/{house.room_id}/first-days", {"end": None, "who": books.GROWER})


def _set_up_people(api: FarmApi, who: dict[str, str]) -> None:
    for person in books.PEOPLE:
        body = {
            "name": person.name,
            "phone": person.phone,
            "email": None,
            "units": "metric",
            "language": person.language,
            "active": True,
            "manager": person.is_manager,
        }
        api.put(f"/people/{person.person_id}", body | who)
    _set_up_rota(api, who)
    rota: list[dict[str, Any]] = [{"rota_id": books.ROTA_ID, "after_minutes": 0}]
    lines = rota + [{"person_id": p.person_id, "after_minutes": p.after_minutes} for p in books.PEOPLE]
    for time in TELLING_TIMES:
        api.put(f"/call-lists/{time}", {"lines": lines} | who)


def _set_up_rota(api: FarmApi, who: dict[str, str]) -> None:
    api.put(f"/rotas/{books.ROTA_ID}", {"name": books.ROTA_NAME} | who)
    for person in books.PEOPLE:
        if person.turns_from is not None:
            turn = {
                "person_id": person.person_id,
                "starts": person.turns_from,
                "minutes": books.TURN_MINUTES,
                "repeats": books.TURN_REPEATS,
            }
            api.put(f"/rotas/{books.ROTA_ID}/turns/{person.person_id}", turn | who)


def _farm() -> dict[str, Any]:
    return {
        "name": farm.FARM_NAME,
        "place": farm.PLACE,
        "zone": farm.ZONE,
        "altitude_m": farm.ALTITUDE_M,
        "units": "metric",
        "language": "en",
        "room_word": "house",
        "invented": True,
        "morning_round": "06:00",
        "evening_round": "18:00",
    }


def _rooms() -> list[dict[str, Any]]:
    rooms = [(house.room_id, house.text_name, house.kind) for house in farm.HOUSES]
    rooms.append((farm.OUTSIDE_ID, farm.OUTSIDE_TEXT_NAME, OUTSIDE_KIND))
    return [{"room_id": key, "name": name, "text_name": name, "kind": kind} for key, name, kind in rooms]


def _batch(batch: books.Batch, anchor_ms: int) -> dict[str, Any]:
    return {
        "batch_id": batch.batch_id,
        "profile": batch.profile,
        "strain": batch.strain,
        "count": batch.count,
        "container": batch.container,
        "room_id": batch.room_id,
        "stage": batch.stage,
        "from": on_the_wire(anchor_ms - _ms(batch.since_hours)),
    }


def _ms(hours: float) -> int:
    return round(hours * books.HOUR_MS)
