"""The invented farm's books agree with its rooms, with the shipped profiles and with numbering plans."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from importlib.resources import files

import phonenumbers
import pytest

from rules.profile_parser import parse_profile
from simulator import books, farm

pytestmark = pytest.mark.pure


@pytest.mark.parametrize("person", books.PEOPLE, ids=lambda person: person.person_id)
def test_phone_numbers_are_well_formed_and_belong_to_nobody(person: books.Person) -> None:
    number = phonenumbers.parse(person.phone)
    assert phonenumbers.is_valid_number(number)
    # Line numbers 555-0100 to 555-0199 are kept for fiction (North American Numbering Plan; from memory).
    assert re.fullmatch(r"\+1\d{3}55501\d{2}", person.phone)


def test_every_growing_room_holds_what_its_simulation_breathes() -> None:
    grown = {batch.room_id: (batch.profile, batch.stage) for batch in books.BATCHES}
    assert set(grown) == {house.room_id for house in farm.HOUSES}
    for house in farm.HOUSES:
        if house.species:
            assert grown[house.room_id] == (house.species, house.stage)


@pytest.mark.parametrize("batch", books.BATCHES, ids=lambda batch: batch.batch_id)
def test_every_stage_is_in_a_shipped_profile_and_not_overstayed(batch: books.Batch) -> None:
    body = files("rules").joinpath("profiles", f"{batch.profile}.toml").read_text(encoding="utf-8")
    stage = parse_profile(body, file=batch.profile).stage(batch.stage)
    usual = re.search(rf"\[stages\.{batch.stage}\]\n.*\nusual_days = {{ from = (\d+), to = (\d+)", body)
    assert stage.name == batch.stage
    assert batch.since_hours >= books.PLACED_HOURS
    if usual:
        assert batch.since_hours / 24 < int(usual[2])


def test_ids_are_unique() -> None:
    for ids in ([b.batch_id for b in books.BATCHES], [p.person_id for p in books.PEOPLE]):
        assert len(ids) == len(set(ids))


def test_the_turns_of_two_people_leave_no_gap_and_the_first_is_on_call_that_evening() -> None:
    first, second = (person for person in books.PEOPLE if person.turns_from is not None)
    begins = [datetime.fromisoformat(str(person.turns_from)) for person in (first, second)]
    assert begins[1] - begins[0] == timedelta(minutes=books.TURN_MINUTES)
    evening = datetime.fromtimestamp(farm.DEMO_EVENING_MS / 1000, UTC).replace(tzinfo=None)
    passed = (evening - begins[0]) // timedelta(minutes=books.TURN_MINUTES)
    assert (first, second)[passed % 2].person_id == books.TOLD_FIRST


def test_somebody_reads_spanish_and_somebody_manages() -> None:
    assert {person.language for person in books.PEOPLE} == {"en", "es"}
    assert any(person.is_manager for person in books.PEOPLE)
