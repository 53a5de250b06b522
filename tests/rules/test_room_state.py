"""What a room remembers between two judgements. The rules about holding values are the project's own."""

from __future__ import annotations

import json
from dataclasses import fields

import pytest

from rules.condition import Phase, Watch
from rules.model import MINUTE_MS, Quantity
from rules.room_state import GAPS_KEPT, Held, RoomState, Track, from_plain, to_plain
from tests.support.rooms import BACK_PROBE, COLD, DOOR_PROBE, HUMIDITY_LOW, minute

pytestmark = pytest.mark.pure


def _heard(*gaps_min: float) -> Held:
    held = Held(value=1.0, at_ms=minute(0))
    at_ms = minute(0)
    for gap in gaps_min:
        at_ms += round(gap * MINUTE_MS)
        held = held.followed_by(2.0, at_ms)
    return held


@pytest.mark.parametrize(
    ("gaps_min", "holds_min"),
    [
        ((), 15),
        ((1,), 3),
        ((1, 1, 1), 3),
        ((1, 9), 3),
        ((2, 1, 9), 6),
        ((5, 5), 15),
        ((20, 20), 15),
        ((1, 1, 180, 1, 1), 3),
        ((1, 0.001, 1, 0.001, 1, 0.001), 3),
        ((0.001,) * 8, 15),
    ],
)
def test_a_value_holds_for_three_usual_intervals_and_a_quarter_hour_at_most(
    gaps_min: tuple[float, ...], holds_min: float
) -> None:
    held = _heard(*gaps_min)
    assert held.until_ms - held.at_ms == holds_min * MINUTE_MS


def test_only_the_last_gaps_count() -> None:
    held = _heard(5, 5, 5, 5, 5, 1, 1, 1)
    assert len(held.gaps_ms) == GAPS_KEPT
    assert held.until_ms - held.at_ms == 3 * MINUTE_MS


def test_a_newer_reading_brings_a_value_back_to_life() -> None:
    held = Held(value=1.0, at_ms=0, expired=True).followed_by(2.0, 60_000)
    assert held == Held(value=2.0, at_ms=60_000, gaps_ms=(60_000,))


def test_a_quiet_track_is_not_open() -> None:
    track = Track.quiet(5)
    assert not track.is_open
    assert track.near == track.far == Watch(phase=Phase.INSIDE, since_ms=5)


def test_a_state_comes_back_from_json_as_it_was() -> None:
    state = RoomState(
        clock_ms=minute(9),
        fingerprint="('a', 1)",
        held={
            (DOOR_PROBE, Quantity.HUMIDITY): _heard(1, 2, 3),
            (BACK_PROBE, Quantity.TEMPERATURE): Held(value=-0.5, at_ms=minute(2), expired=True),
        },
        tracks={
            HUMIDITY_LOW: Track(
                near=Watch(phase=Phase.RECOVERING, since_ms=minute(8)),
                far=Watch(phase=Phase.BEYOND, since_ms=minute(4)),
                began_ms=minute(1),
                first_value=78.5,
                worst=60.25,
                raised_ms=minute(3),
                deepened=True,
                over_ms=minute(-70),
            ),
            COLD: Track.quiet(minute(0)),
        },
    )
    back = from_plain(json.loads(json.dumps(to_plain(state))))
    assert back == state
    assert list(back.tracks) == list(state.tracks)
    assert back.tracks[HUMIDITY_LOW].is_open


def test_no_field_is_forgotten_when_a_state_is_written() -> None:
    held = {(DOOR_PROBE, Quantity.HUMIDITY): _heard(1)}
    plain = to_plain(RoomState(clock_ms=5, held=held, tracks={COLD: Track.quiet(1)}))
    assert plain.keys() == {field.name for field in fields(RoomState)}
    assert plain["held"][0][2].keys() == {field.name for field in fields(Held)}
    assert plain["tracks"][0][2].keys() == {field.name for field in fields(Track)}


def test_a_state_written_before_a_field_was_added_can_still_be_read() -> None:
    plain = to_plain(RoomState(clock_ms=5, tracks={COLD: Track.quiet(1)}))
    del plain["tracks"][0][2]["over_ms"]
    assert from_plain(plain).tracks[COLD] == Track.quiet(1)


def test_a_room_of_which_nothing_is_known_is_written_and_read_as_well() -> None:
    assert from_plain(to_plain(RoomState(clock_ms=0))) == RoomState(clock_ms=0)
