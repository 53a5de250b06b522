"""The texts of rooms and of people's limits: from frozen facts to the words for one person."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Final

from rules.model import MINUTE_MS, Instant, Quantity, Side
from service.localtime import local
from service.wording.format import clock
from service.wording.people_texts import DangerFacts, UnderFacts, danger_text, under_text
from service.wording.reader import Reader
from service.wording.texts import AlarmFacts, BackFacts, alarm_text, back_text, deeper_text

Facts = Mapping[str, Any]


def _trouble(facts: Facts, reader: Reader, now_ms: Instant) -> str:
    return alarm_text(_alarm(facts, now_ms), reader.units)


def _deeper(facts: Facts, reader: Reader, now_ms: Instant) -> str:
    return deeper_text(_alarm(facts, now_ms), reader.units)


def _back(facts: Facts, reader: Reader, now_ms: Instant) -> str:
    del now_ms  # What is over does not last any longer.
    if facts["side"] == Side.PEOPLE:
        return under_text(_under(facts))
    return back_text(_over(facts), reader.units)


def _danger(facts: Facts, reader: Reader, now_ms: Instant) -> str:
    del reader, now_ms
    return danger_text(
        DangerFacts(
            room=facts["room"],
            level=facts["level"],
            value_ppm=facts["value"],
            at_least=facts["at_least"],
            limit_ppm=facts["limit"],
            somebody_inside=bool(facts["inside"]),
            invented=facts["invented"],
        )
    )


def _alarm(facts: Facts, now_ms: Instant) -> AlarmFacts:
    """How long it lasts is said as of now."""
    return AlarmFacts(
        room=facts["room"],
        species=facts["species"],
        stage=facts["stage"],
        stage_day=facts["stage_day"],
        quantity=Quantity(facts["quantity"]),
        side=Side(facts["side"]),
        value=facts["value"],
        limit=facts["limit"],
        minutes=max(facts["minutes"], (now_ms - facts["began_ms"]) // MINUTE_MS),
        trend=facts["trend"],
        place=facts["place"],
        normal=tuple(Quantity(q) for q in facts["normal"]),
        first_check=facts["first_check"],
        invented=facts["invented"],
    )


def _under(facts: Facts) -> UnderFacts:
    return UnderFacts(
        room=facts["room"],
        value_ppm=facts["value"],
        at_least=facts["at_least"],
        local_time=clock(local(facts["at_ms"], facts["zone"])),
        invented=facts["invented"],
    )


def _over(facts: Facts) -> BackFacts:
    return BackFacts(
        room=facts["room"],
        quantity=Quantity(facts["quantity"]),
        side=Side(facts["side"]),
        value=facts["value"],
        local_time=clock(local(facts["at_ms"], facts["zone"])),
        worst=facts["worst"],
        limit=facts["limit"],
        minutes=facts["minutes"],
        invented=facts["invented"],
        in_band=facts["in_band"],
    )


BY_KIND: Final[Mapping[str, Callable[[Facts, Reader, Instant], str]]] = {
    "trouble": _trouble,
    "also": _trouble,
    "deeper": _deeper,
    "danger": _danger,
    "back": _back,
}
