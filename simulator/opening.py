"""Starting the parts of the demo: broker, service with its database, phone, and the rooms themselves."""

from __future__ import annotations

import json
import secrets
import sys
from dataclasses import dataclass, field
from functools import partial
from typing import Final

import httpx

from simulator import farm
from simulator.clock import FarmClock
from simulator.demo_broker import Broker
from simulator.doors import LOOPBACK, answers, free_port
from simulator.parts import Parts
from simulator.way_back import DELIVERED, KEY_VARIABLE, SIGNATURE_HEADER, TIME_HEADER

PYTHON: Final = sys.executable
START_S: Final = 60.0
"""A first start also translates every module."""
SWEEP_EVERY_S: Final = 0.5
"""Ten seconds of the farm's clock."""
PROOF_HOLDS_S: Final = 1200.0
"""A minute of yours: the gateway signs the farm's time."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Addresses:
    """Where the parts that speak HTTP are found."""

    web: str
    phone: str
    control: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Opened:
    """The running parts, and how to speak to them."""

    parts: Parts
    clock: FarmClock
    broker: Broker
    at: Addresses
    http: httpx.Client
    secret: str = field(default_factory=lambda: secrets.token_hex(32), repr=False)
    """What the text gateway signs its calls with, new for every run."""


def choose_addresses(web_port: int, phone_port: int) -> Addresses:
    """Take the wanted ports where they are free."""
    ports = (free_port(web_port), free_port(phone_port), free_port())
    web, phone, control = (f"http://{LOOPBACK}:{port}" for port in ports)
    return Addresses(web=web, phone=phone, control=control)


def open_service(opened: Opened) -> None:
    """Start everything but the rooms, and wait until each answers."""
    parts, broker, at = opened.parts, opened.broker, opened.at
    parts.start("broker", broker.command)
    for port in {broker.probe_port, broker.service_port}:
        parts.wait_for(partial(_listens, port), within_s=START_S, what="the broker's port")
    phone = [PYTHON, "-m", "simulator", "phone", "--port", _port(at.phone), "--service", at.web]
    parts.start("phone", [*phone, *_clock_words(opened.clock)], {KEY_VARIABLE: opened.secret})
    parts.start("service", [PYTHON, "-m", "service", "run"], _service_settings(opened))
    for url, what in ((f"{at.phone}/texts", "the phone"), (f"{at.web}/api/state", "the service")):
        parts.wait_for(partial(_well, opened.http, url), within_s=START_S, what=what)


def open_rooms(opened: Opened, history_hours: float) -> None:
    """Start the rooms: they publish their past first, and then go on with the clock."""
    command = [PYTHON, "-m", "simulator", "run", "--broker", f"{LOOPBACK}:{opened.broker.probe_port}"]
    command += ["--history-hours", str(history_hours), "--control-port", _port(opened.at.control)]
    opened.parts.start("rooms", [*command, *_clock_words(opened.clock)])
    opened.parts.wait_for(
        lambda: _well(opened.http, f"{opened.at.control}/state"), within_s=START_S, what="the rooms"
    )


def _port(url: str) -> str:
    return url.rpartition(":")[2]


def _listens(port: int) -> bool | None:
    return answers(port) or None


def _well(http: httpx.Client, url: str) -> bool | None:
    """True once the address answers that all is well."""
    try:
        return http.get(url).is_success or None
    except httpx.TransportError:
        return None


def _clock_words(clock: FarmClock) -> list[str]:
    words = {
        "--factor": clock.factor,
        "--anchor-wall-ms": clock.anchor_wall_ms,
        "--anchor-farm-ms": clock.anchor_farm_ms,
    }
    return [str(word) for pair in words.items() for word in pair]


def _service_settings(opened: Opened) -> dict[str, str]:
    database = opened.parts.folder / "houseband.db"
    settings = {
        "FARM": farm.FARM_ID,
        "DATABASE_URL": f"sqlite+aiosqlite:///{database}",
        "BROKER_HOST": LOOPBACK,
        "BROKER_PORT": str(opened.broker.service_port),
        "LISTEN_PORT": _port(opened.at.web),
        "PUBLIC_URL": opened.at.web,
        "TEXT_GATEWAY__URL": f"{opened.at.phone}/send",
        "TEXT_GATEWAY__FIELDS": json.dumps({"to": "{to}", "text": "{text}"}),
        "TEXT_GATEWAY__ID_POINTER": "/number",
        "TEXT_INBOUND__SECRET": opened.secret,
        "TEXT_INBOUND__HEADER": SIGNATURE_HEADER,
        "TEXT_INBOUND__TIME_HEADER": TIME_HEADER,
        "TEXT_INBOUND__TOLERANCE_S": str(PROOF_HOLDS_S),
        "TEXT_INBOUND__TIME": "/at",
        "TEXT_INBOUND__TIME_FORM": "milliseconds",
        "TEXT_INBOUND__RECEIPTS": json.dumps({DELIVERED: "delivered"}),
        "SWEEP_EVERY_S": str(SWEEP_EVERY_S),
        "CLOCK_FACTOR": str(opened.clock.factor),
        "CLOCK_ANCHOR_WALL_MS": str(opened.clock.anchor_wall_ms),
        "CLOCK_ANCHOR_FARM_MS": str(opened.clock.anchor_farm_ms),
    }
    return {f"HOUSEBAND_{name}": value for name, value in settings.items()}
