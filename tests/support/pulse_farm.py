"""An invented farm whose rooms go dry and recover again and again, for tests that disturb the service.

Waits are short (24 s of farm time), so that many alarms fit into a minute on a clock that runs five times as fast.
Readings are timed to every second full second of the farm, whenever they are really sent.
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

SLUG: Final = "pulse"
ROOMS: Final = tuple(f"house-{n}" for n in range(1, 6))
IDLE_PROBES: Final = tuple(f"idle-{n}" for n in range(4))
PERIOD_MS: Final = 160 * SECOND_MS
DRY_MS: Final = 80 * SECOND_MS
STEP_MS: Final = 2 * SECOND_MS
PROFILE: Final = """
name = "pulse"
species = "Invented species"
label = "Invented"
text_name = "invented"
version = 1
[stages.pinning]
text_name = "pins"
[stages.pinning.humidity]
unit = "%RH"
low = { value = 90, basis = "judgement" }
high = { value = 99, basis = "judgement" }
[stages.pinning.humidity.text_low]
limit = { value = 85, basis = "judgement" }
wait_minutes = 0.4
recover_margin = 3
recover_minutes = 0.4
"""


EACH_ALONE: Final = {"merge_rooms": 50, "merge_wait_seconds": 0, "texts_per_hour": 60}
"""Every room is told of by itself, at once, and as often as it goes wrong."""


async def set_up(database: Database, at_ms: Instant) -> int:
    """Rooms with one probe and one batch each, past their first days, and one person to tell."""
    farm = await farm_row(database, SLUG, at_ms)
    farm_id: int = farm["farm_id"]
    noted = {"recorded_ms": at_ms, "who": "Ines"}
    async with database.write() as connection:
        profile = {"profile": "pulse", "version": 1, "body": PROFILE, "body_sha256": "", **noted}
        await crops.add_profiles(connection, farm_id, [profile])
        await crops.confirm(connection, farm_id, {"profile": "pulse", "version": 1, "stage": "pinning", **noted})
        for room in ROOMS:
            await _add_room(connection, farm_id, room, at_ms)
        known = {"person_id": "ines", "name": "Ines", "phone": "+12025550123", "email": None, "units": "metric"}
        await people.save_person(connection, farm_id, {**known, "language": "en", "active": 1, **noted})
        for name, value in EACH_ALONE.items():
            await set_figure(connection, farm_id, name, value, who="Ines", now_ms=at_ms)
        for daypart in ("day", "night"):
            await people.set_call_list(connection, farm_id, daypart, [("ines", 0)], who="Ines", recorded_ms=at_ms)
    return farm_id


async def _add_room(connection: Any, farm_id: int, room: str, at_ms: Instant) -> None:
    noted = {"recorded_ms": at_ms, "who": "Ines"}
    named = {"room_id": room, "name": room, "text_name": room, "kind": "fruiting"}
    await rooms.add_room(
        connection, farm_id, {**named, "first_days_end_ms": at_ms, "created_ms": at_ms, "who": "Ines"}
    )
    hung = {"probe_id": f"probe-{room}", "room_id": room, "place": "middle", "valid_from_ms": at_ms}
    await rooms.place_probe(connection, farm_id, {**hung, **noted})
    batch = {"batch_id": f"B-{room}", "profile": "pulse", "version": 1, "strain": "", "count": 1}
    await crops.add_batch(connection, farm_id, {**batch, "container": "bag", **noted})
    stay = {"batch_id": f"B-{room}", "room_id": room, "stage": "pinning", "valid_from_ms": at_ms}
    await crops.add_stay(connection, farm_id, {**stay, **noted})


@dataclass
class Readings:
    """Publishes every two farm seconds until stopped, and knows which readings the broker has acknowledged."""

    port: int
    clock: ScaledClock
    calm: threading.Event = field(default_factory=threading.Event)
    """When set, no room goes dry any more."""
    last_ms: Instant = 0
    _stop: threading.Event = field(default_factory=threading.Event)
    _sent: list[tuple[mqtt.MQTTMessageInfo, list[tuple[str, str, Instant, float]]]] = field(default_factory=list)

    def start(self) -> None:
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id="pulse-farm", protocol=mqtt.MQTTv5)
        self._client.connect("127.0.0.1", self.port)
        self._client.loop_start()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Stop after the present second."""
        self._stop.set()
        self._thread.join(timeout=10)

    @property
    def all_acknowledged(self) -> bool:
        """True when the broker has acknowledged every message sent."""
        return all(info.is_published() for info, _ in self._sent)

    @property
    def acknowledged(self) -> list[tuple[str, str, Instant, float]]:
        """Probe, quantity, time and value of every reading that the broker has acknowledged."""
        return sorted(row for info, rows in self._sent if info.is_published() for row in rows)

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()

    def _run(self) -> None:
        at_ms = (self.clock.now_ms() // STEP_MS + 1) * STEP_MS
        while not self._stop.is_set():
            self._stop.wait(max(0.0, (at_ms - self.clock.now_ms()) / 1000 / self.clock.factor))
            for n, room in enumerate(ROOMS):
                self._send(f"probe-{room}", at_ms, self._humidity(n, at_ms))
            for probe in IDLE_PROBES:
                self._send(probe, at_ms, 90.0)
            self.last_ms = at_ms
            at_ms += STEP_MS

    def _humidity(self, n: int, at_ms: Instant) -> float:
        dry = (at_ms + n * PERIOD_MS // len(ROOMS)) % PERIOD_MS < DRY_MS
        return 75.0 if dry and not self.calm.is_set() else 95.0

    def _send(self, probe: str, at_ms: Instant, humidity: float) -> None:
        values = {"humidity": ("%RH", humidity), "temperature": ("Cel", 15.0), "co2": ("/", 0.0008)}
        pack: list[dict[str, Any]] = [{"n": n, "u": u, "v": v} for n, (u, v) in values.items()]
        pack[0]["bt"] = at_ms / 1000
        kept = [(probe, n, at_ms, 800.0 if n == "co2" else v) for n, (_, v) in values.items()]
        self._sent.append((self._client.publish(f"houseband/{SLUG}/{probe}", json.dumps(pack), qos=1), kept))
