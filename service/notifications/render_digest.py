"""The texts that go out regularly: from frozen facts to the words for one person."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Final

from rules.model import Instant, Quantity, Side
from service.localtime import local
from service.wording.digest_texts import MorningFacts, OpenThing, Spell, morning_text
from service.wording.format import clock
from service.wording.reader import Reader

Facts = Mapping[str, Any]


def _morning(facts: Facts, reader: Reader, now_ms: Instant) -> str:
    del now_ms  # The night is over; what was known when the text was due is what it says.
    people_ms = facts["people_from_ms"]
    return morning_text(
        MorningFacts(
            worst_room=facts["worst_room"],
            spell=None if facts["spell"] is None else _spell(facts["spell"], facts["zone"]),
            people_from=None if people_ms is None else clock(local(people_ms, facts["zone"])),
            unheard=tuple(Quantity(q) for q in facts["unheard"]),
            also=tuple(facts["also"]),
            quiet=facts["quiet"],
            open=tuple(_open(one) for one in facts["open"]),
            not_heard=tuple(facts["not_heard"]),
            on_call=facts["on_call"],
            room_word=facts["room_word"],
            invented=bool(facts["invented"]),
        ),
        reader,
    )


def _spell(spell: Facts, zone: str) -> Spell:
    return Spell(
        quantity=Quantity(spell["quantity"]),
        side=Side(spell["side"]),
        edge=spell["edge"],
        minutes=spell["minutes"],
        local_time=clock(local(spell["from_ms"], zone)),
        worst=spell["worst"],
        over=spell["over"],
    )


def _open(thing: Facts) -> OpenThing:
    return OpenThing(room=thing["room"], quantity=Quantity(thing["quantity"]), side=Side(thing["side"]))


BY_KIND: Final[Mapping[str, Callable[[Facts, Reader, Instant], str]]] = {"morning": _morning}
