"""An invented farm whose probes can fall silent: one by one, gateway by gateway, or all at once.

Two houses hang behind one gateway, which the topic names; one has two probes, one has a single one. They report
every 20 seconds of the farm.
"""

from __future__ import annotations

import json
import threading
from dataclasses import dataclass, field
from typing import Any, Final

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from rules.model import SECOND_MS, Instant
from service.app.farm_row import farm_row
from service.clock import ScaledClock
from service.storage import crops, people, rooms
from service.storage.database import Database
from service.storage.figures import set_figure
from tests.support.pulse_farm import PROFILE

SLUG: Final = "quiet"
EVERY_MS: Final = 20 * SECOND_MS
BEHIND: Final = {"h1": "north", "h2": "north"}
HANGS: Final = {"h1": "house-1", "h2": "house-2", "h3-a": "house-3", "h3-b": "house-3", "h4": "house-4"}
CALLED: Final = {f"house-{n}": f"House {n}" for n in range(1, 5)}
SOURCES: Final = """
[[source]]
name = "behind a gateway"
topic = "field/{gateway}/{probe}"
value = [{ quantity = "humidity", at = "/rh", unit = "%RH" }]
"""


async def set_up(database: Database, at_ms: Instant) -> None:
    """Houses past their first days, each with a batch, and two people to tell."""
    farm_id = (await farm_row(database, SLUG, at_ms))["farm_id"]
    noted = {"recorded_ms": at_ms, "who": "Ines"}
    async with database.write() as connection:
        await rooms.change_farm(connection, farm_id, {"invented": 1})
        # One text about each silence, and none put off because there were many.
        for name, value in (("texts_per_hour", 60), ("again_minutes", 120)):
            await set_figure(connection, farm_id, name, value, who="Ines", now_ms=at_ms)
        profile = {"profile": "pulse", "version": 1, "body": PROFILE, "body_sha256": "", **noted}
        await crops.add_profiles(connection, farm_id, [profile])
        await crops.confirm(connection, farm_id, {"profile": "pulse", "version": 1, "stage": "pinning", **noted})
        for room_id in CALLED:
            await _add_room(connection, farm_id, room_id, at_ms)
        for probe, room_id in HANGS.items():
            hung = {"probe_id": probe, "room_id": room_id, "place": "middle", "valid_from_ms": at_ms}
            await rooms.place_probe(connection, farm_id, {**hung, **noted})
        for n, person in enumerate(("ines", "ben")):
            known = {"person_id": person, "name": person.title(), "email": None, "units": "metric"}
            reached = {"phone": f"+1202555012{n}", "language": "en", "active": 1}
            await people.save_person(connection, farm_id, {**known, **reached, **noted})
        for daypart in ("day", "night"):
            lines = [("ines", 0), ("ben", 10 * 60 * SECOND_MS)]
            await people.set_call_list(connection, farm_id, daypart, lines, who="Ines", recorded_ms=at_ms)


async def _add_room(connection: Any, farm_id: int, room_id: str, at_ms: Instant) -> None:
    noted = {"recorded_ms": at_ms, "who": "Ines"}
    named = {"room_id": room_id, "name": CALLED[room_id], "text_name": CALLED[room_id], "kind": "fruiting"}
    days = {"first_days_end_ms": at_ms, "created_ms": at_ms, "who": "Ines"}
    await rooms.add_room(connection, farm_id, {**named, **days})
    batch = {"batch_id": f"B-{room_id}", "profile": "pulse", "version": 1, "strain": "", "count": 1}
    await crops.add_batch(connection, farm_id, {**batch, "container": "bag", **noted})
    stay = {"batch_id": f"B-{room_id}", "room_id": room_id, "stage": "pinning", "valid_from_ms": at_ms}
    await crops.add_stay(connection, farm_id, {**stay, **noted})


@dataclass
class Probes:
    """Publishes for every probe that is not silent, as long as the broker is there."""

    port: int
    clock: ScaledClock
    silent: set[str] = field(default_factory=set)
    _stop: threading.Event = field(default_factory=threading.Event)

    def start(self) -> None:
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id="quiet-farm", protocol=mqtt.MQTTv5)
        self._client.reconnect_delay_set(1, 1)
        self._client.connect("127.0.0.1", self.port)
        self._client.loop_start()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def stop(self) -> None:
        self._stop.set()
        self._thread.join(timeout=10)
        self._client.disconnect()
        self._client.loop_stop()

    def _run(self) -> None:
        while not self._stop.wait(EVERY_MS / SECOND_MS / self.clock.factor):
            for probe in HANGS:
                if probe not in self.silent and self._client.is_connected():
                    self._client.publish(*_message(probe), qos=1)


def _message(probe: str) -> tuple[str, str]:
    if probe in BEHIND:
        return f"field/{BEHIND[probe]}/{probe}", json.dumps({"rh": 95.0})
    return f"houseband/{SLUG}/{probe}/humidity", "95.0"
