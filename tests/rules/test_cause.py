"""What to look at first. The patterns are common practice of the trade; there is no source to cite."""

from __future__ import annotations

import pytest

from rules.cause import Part, first_check
from rules.limits import Key
from rules.model import Quantity, Side
from tests.support.rooms import CO2_HIGH, COLD, HUMIDITY_HIGH, HUMIDITY_LOW, WARM

pytestmark = pytest.mark.pure

STALE = CO2_HIGH
THIN: Key = (Quantity.CO2, Side.LOW)
_T, _H, _C = Quantity.TEMPERATURE, Quantity.HUMIDITY, Quantity.CO2

# Common practice: what is beyond its limit, what else is, what reads normal, and where a grower looks first.
PATTERNS: list[tuple[str, Key, set[Key], set[Quantity], Part | None]] = [
    ("dry, all else fine: water", HUMIDITY_LOW, set(), {_T, _C}, Part.HUMIDIFIER),
    ("dry and warm: heat, not water", HUMIDITY_LOW, {WARM}, {_C}, Part.HEAT),
    ("dry and cold: something stands open", HUMIDITY_LOW, {COLD}, {_C}, Part.OPENING),
    ("dry, cold and thin air: the same", HUMIDITY_LOW, {COLD, THIN}, set(), Part.OPENING),
    ("dry, warmth unknown: nothing is claimed", HUMIDITY_LOW, set(), {_C}, None),
    ("wet, warm and stale: the fan", HUMIDITY_HIGH, {WARM, STALE}, set(), Part.FAN),
    ("wet and stale: the fan", HUMIDITY_HIGH, {STALE}, {_T}, Part.FAN),
    ("wet and cold: the heater is out", HUMIDITY_HIGH, {COLD}, {_C}, Part.HEATER),
    ("wet, all else fine: water that does not stop", HUMIDITY_HIGH, set(), {_T, _C}, Part.HUMIDIFIER_ON),
    ("wet, warmth unknown: nothing is claimed", HUMIDITY_HIGH, set(), set(), None),
    ("wet and warm, air fresh: nothing is claimed", HUMIDITY_HIGH, {WARM}, {_C}, None),
    ("cold: the heater", COLD, set(), {_H, _C}, Part.HEATER),
    ("cold and wet: the heater", COLD, {HUMIDITY_HIGH}, {_C}, Part.HEATER),
    ("cold and dry: something stands open", COLD, {HUMIDITY_LOW}, {_C}, Part.OPENING),
    ("warm: heating or cooling", WARM, set(), {_H, _C}, Part.HEAT),
    ("warm and dry: heating or cooling", WARM, {HUMIDITY_LOW}, {_C}, Part.HEAT),
    ("warm and stale: the fan", WARM, {STALE, HUMIDITY_HIGH}, set(), Part.FAN),
    ("stale: the fan", STALE, set(), {_T, _H}, Part.FAN),
    ("thin where it should be rich: something stands open", THIN, set(), {_T, _H}, Part.OPENING),
]


@pytest.mark.parametrize(
    ("alarm", "beyond", "normal", "part"), [p[1:] for p in PATTERNS], ids=[p[0] for p in PATTERNS]
)
def test_what_moved_together_points_at_a_part(
    alarm: Key, beyond: set[Key], normal: set[Quantity], part: Part | None
) -> None:
    assert first_check(alarm, also_beyond=beyond, normal=normal) is part


def test_a_warm_cooler_is_its_door_or_its_compressor() -> None:
    assert first_check(WARM, also_beyond={STALE}, normal=set(), cooler=True) is Part.COOLER
    assert first_check(COLD, also_beyond=set(), normal=set(), cooler=True) is Part.HEATER


def test_of_a_quantity_without_a_pattern_nothing_is_claimed() -> None:
    assert first_check((Quantity.BATTERY, Side.LOW), also_beyond=set(), normal={_T, _H, _C}) is None
