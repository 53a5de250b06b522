"""Every text that goes out regularly, with the longest names and the widest figures that can stand in it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import replace
from itertools import product
from typing import Final

from rules.model import Quantity, Side
from service.wording.digest_texts import MorningFacts, OpenThing, Spell, morning_text
from service.wording.language import Language
from service.wording.reader import Reader

ROOM: Final = "Wachsraum 12"
SPELLS: Final = tuple(
    Spell(quantity=quantity, side=side, edge=edge, minutes=839, local_time="22:34", worst=worst, over=over)
    for quantity, side, edge, worst in (
        (Quantity.HUMIDITY, Side.LOW, 87.5, 18.4),
        (Quantity.TEMPERATURE, Side.HIGH, 17.25, 41.9),
        (Quantity.CO2, Side.HIGH, 12500.0, 49999.0),
        (Quantity.SOAK_WATER, Side.HIGH, 17.25, 41.9),
        (Quantity.PRODUCT_CORE, Side.HIGH, 3.4, 21.4),
    )
    for over in (True, False)
)
OPEN: Final = tuple(
    OpenThing(room=ROOM, quantity=quantity, side=side)
    for quantity, side in (
        (Quantity.CO2, Side.PEOPLE),
        (Quantity.PRODUCT_CORE, Side.HIGH),
        (Quantity.WATER_PRESSURE, Side.LOW),
        (Quantity.TEMPERATURE, Side.LOW),
    )
)
QUIET_NIGHT: Final = MorningFacts(
    worst_room=None,
    spell=None,
    people_from=None,
    unheard=(),
    also=(),
    quiet=12,
    open=(),
    not_heard=(),
    on_call="Maximilian Hollow",
    room_word="chamber",
    invented=True,
)


def facts() -> Iterator[MorningFacts]:
    """Every variant, one that is often read first."""
    yield replace(QUIET_NIGHT, worst_room="House 7", spell=SPELLS[0], quiet=5, invented=False, on_call="Maria")
    for quiet, invented in product((1, 48), (False, True)):
        yield replace(QUIET_NIGHT, quiet=quiet, invented=invented, on_call=None)
        yield replace(QUIET_NIGHT, quiet=quiet, invented=invented)
        yield replace(QUIET_NIGHT, quiet=quiet, invented=invented, not_heard=(ROOM,) * 3)
    bad = replace(QUIET_NIGHT, worst_room=ROOM)
    worst = (
        *(replace(bad, spell=spell) for spell in SPELLS),
        replace(bad, people_from="22:34"),
        replace(bad, unheard=(Quantity.PRODUCT_CORE,)),
        bad,
    )
    others: tuple[tuple[str, ...], ...] = ((), (ROOM,), (ROOM,) * 9)
    for one, also, is_open, mark in product(worst, others, (0, 1, 4), (False, True)):
        yield replace(one, also=also, open=OPEN[:is_open], invented=mark, quiet=3 if also else 0)
        yield replace(one, also=also, not_heard=(ROOM,) * is_open, invented=mark, quiet=3 if also else 0)


def _morning(language: Language) -> Iterable[str]:
    for one in facts():
        yield morning_text(one, Reader(units="us", language=language))
        yield morning_text(one, Reader(units="metric", language=language))


FIRST_IS_USUAL: Final = True
EVERY: Final[Mapping[str, Callable[[Language], Iterable[str]]]] = {"morning": _morning}
