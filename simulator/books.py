"""What the invented farm's people wrote down: who they are, and what grows where since when.

Names are invented. Phone numbers are from 555-0100 to 555-0199, which the North American numbering plan keeps for
fiction.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

HOUR_MS: Final = 3_600_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    """Somebody who may be told."""

    person_id: str
    name: str
    phone: str
    after_minutes: int
    """The wait of this line of the call list. Those below whoever has the turn move up by a line."""
    language: str = "en"
    is_manager: bool = False
    turns_from: str | None = None
    """When the first of the turns of a week begins, on the farm's clock; every second week is this person's."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Batch:
    """Blocks of one strain, and since when they are in this room at this stage."""

    batch_id: str
    room_id: str
    profile: str
    stage: str
    strain: str
    count: int
    container: str
    since_hours: float


PEOPLE: Final = (
    Person(
        person_id="ida",
        name="Ida Quillfeather",
        phone="+15185550117",
        after_minutes=10,
        turns_from="2026-11-02T08:00",
    ),
    Person(
        person_id="bram",
        name="Bram Ostwick",
        phone="+15185550142",
        after_minutes=20,
        turns_from="2026-11-09T08:00",
    ),
    Person(person_id="rosalba", name="Rosalba Trigo", phone="+15185550163", after_minutes=30, language="es"),
    Person(person_id="edda", name="Edda Marlwood", phone="+15185550188", after_minutes=40, is_manager=True),
)
OWNERS: Final = {person.phone: person for person in PEOPLE}
"""Whose phone has this number."""
ROTA_ID: Final = "on-call"
ROTA_NAME: Final = "On call"
TURN_MINUTES: Final = 7 * 24 * 60
TURN_REPEATS: Final = "FREQ=WEEKLY;INTERVAL=2;BYDAY=MO"
TOLD_FIRST: Final = "ida"
"""Whose turn it is on the evening of the demo."""
GROWER: Final = PEOPLE[0].name
"""Stands for the figures and signs what is set up."""

PLACED_HOURS: Final = 40.0
"""Probes hang, and blocks lie, from before the first past reading."""

BLOCK: Final = "block 2.3 kg"
BATCHES: Final = (
    Batch(
        batch_id="LF-311",
        room_id="house-1",
        profile="shiitake",
        stage="pinning",
        strain="Hollow Brown",
        count=5000,
        container=BLOCK,
        since_hours=PLACED_HOURS,
    ),
    Batch(
        batch_id="LF-306",
        room_id="house-2",
        profile="shiitake",
        stage="fruiting",
        strain="Hollow Brown",
        count=6000,
        container=BLOCK,
        since_hours=PLACED_HOURS + 48,
    ),
    Batch(
        batch_id="LF-308",
        room_id="house-3",
        profile="nameko",
        stage="fruiting",
        strain="Amber Fen",
        count=3500,
        container=BLOCK,
        since_hours=PLACED_HOURS + 24,
    ),
    Batch(
        batch_id="LF-309",
        room_id="house-4",
        profile="pioppino",
        stage="fruiting",
        strain="Poplar Lane",
        count=4000,
        container=BLOCK,
        since_hours=PLACED_HOURS,
    ),
    Batch(
        batch_id="LF-307",
        room_id="house-5",
        profile="chestnut",
        stage="fruiting",
        strain="Burr Oak",
        count=3000,
        container=BLOCK,
        since_hours=PLACED_HOURS + 72,
    ),
    Batch(
        batch_id="LF-319",
        room_id="incubation",
        profile="shiitake",
        stage="incubation",
        strain="Hollow Brown",
        count=3900,
        container=BLOCK,
        since_hours=PLACED_HOURS + 18 * 24,
    ),
    Batch(
        batch_id="LF-PICKED",
        room_id="cooler",
        profile="cold_storage",
        stage="storage",
        strain="several",
        count=60,
        container="crate",
        since_hours=PLACED_HOURS,
    ),
)
