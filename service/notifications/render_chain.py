"""The texts of rooms and of people's limits: from frozen facts to the words for one person."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Final

from rules.model import MINUTE_MS, Instant, Quantity, Side
from service.localtime import local
from service.wording.chain_texts import (
    NotOutFacts,
    StillFacts,
    TrialFacts,
    came_out_text,
    not_out_text,
    opted_out_text,
    out_again_text,
    still_text,
    taken_text,
    trial_text,
)
from service.wording.format import clock
from service.wording.people_texts import DangerFacts, UnderFacts, WentIn, danger_text, under_text
from service.wording.reader import Reader
from service.wording.texts import (
    AlarmFacts,
    BackFacts,
    Went,
    alarm_text,
    back_text,
    deeper_text,
    no_better_text,
)

Facts = Mapping[str, Any]


def _trouble(facts: Facts, reader: Reader, now_ms: Instant) -> str:
    return alarm_text(_alarm(facts, now_ms), reader)


def _deeper(facts: Facts, reader: Reader, now_ms: Instant) -> str:
    return deeper_text(_alarm(facts, now_ms), reader)


def _back(facts: Facts, reader: Reader, _now_ms: Instant) -> str:
    if facts["side"] == Side.PEOPLE:
        return under_text(_under(facts), reader)
    return back_text(_over(facts), reader)


def _danger(facts: Facts, reader: Reader, _now_ms: Instant) -> str:
    return danger_text(_people(facts), reader)


def _no_improvement(facts: Facts, reader: Reader, now_ms: Instant) -> str:
    """Its facts tell what it is about: a limit for people, a limit of the crop, or the site."""
    person, at = facts["person"], _clock(facts, "went_ms")
    if "level" in facts:
        return danger_text(_people(facts), reader, WentIn(person=person, local_time=at))
    if "quantity" in facts:
        return no_better_text(_alarm(facts, now_ms), Went(person=person, local_time=at), reader)
    still = StillFacts(
        rooms=tuple(facts["rooms"]),
        since=_clock(facts, "since_ms"),
        person=person,
        went=at,
        invented=facts["invented"],
    )
    return still_text(still, reader)


def _taken(facts: Facts, reader: Reader, _now_ms: Instant) -> str:
    return taken_text(person=facts["person"], room=facts["room"], invented=facts["invented"], reader=reader)


def _out_again(facts: Facts, reader: Reader, _now_ms: Instant) -> str:
    return out_again_text(
        room=facts["room"],
        reply=facts["reply"],
        local_time=_clock(facts, "look_ms"),
        invented=facts["invented"],
        reader=reader,
    )


def _came_out(facts: Facts, reader: Reader, _now_ms: Instant) -> str:
    return came_out_text(person=facts["person"], room=facts["room"], invented=facts["invented"], reader=reader)


def _look_after(facts: Facts, reader: Reader, _now_ms: Instant) -> str:
    not_out = NotOutFacts(
        person=facts["person"],
        phone=facts["phone"],
        room=facts["room"],
        since=_clock(facts, "since_ms"),
        until=_clock(facts, "until_ms"),
        working=facts["why"] == "working",
        invented=facts["invented"],
    )
    return not_out_text(not_out, reader)


def _trial(facts: Facts, reader: Reader, _now_ms: Instant) -> str:
    trial = TrialFacts(
        kind=facts["kind"],
        farm=facts["farm"],
        local_time=_clock(facts, "at_ms"),
        asks=facts.get("asks", True),
        invented=facts["invented"],
    )
    return trial_text(trial, reader)


def _opted_out(facts: Facts, reader: Reader, _now_ms: Instant) -> str:
    return opted_out_text(person=facts["person"], invented=facts["invented"], reader=reader)


def _clock(facts: Facts, moment: str) -> str:
    return clock(local(facts[moment], facts["zone"]))


def _people(facts: Facts) -> DangerFacts:
    return DangerFacts(
        room=facts["room"],
        level=facts["level"],
        value_ppm=facts["value"],
        at_least=facts["at_least"],
        limit_ppm=facts["limit"],
        somebody_inside=bool(facts["inside"]),
        invented=facts["invented"],
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
        local_time=_clock(facts, "at_ms"),
        invented=facts["invented"],
    )


def _over(facts: Facts) -> BackFacts:
    return BackFacts(
        room=facts["room"],
        quantity=Quantity(facts["quantity"]),
        side=Side(facts["side"]),
        value=facts["value"],
        local_time=_clock(facts, "at_ms"),
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
    "taken": _taken,
    "no improvement": _no_improvement,
    "look after": _look_after,
    "came out": _came_out,
    "out again?": _out_again,
    "trial": _trial,
    "opted out": _opted_out,
}
