"""From a notice's frozen facts to the words for one person."""

from __future__ import annotations

from typing import Any

from rules.model import MINUTE_MS, Instant, Quantity, Side
from service.localtime import local
from service.storage.rows import Record
from service.wording.format import clock
from service.wording.people_texts import DangerFacts, UnderFacts, danger_text, under_text
from service.wording.texts import AlarmFacts, BackFacts, alarm_text, back_text, deeper_text
from service.wording.units import Units


def render(notice: Record, units: Units, *, now_ms: Instant) -> str:
    """The text of a notice for a person who reads ``units``; how long it lasts is said as of now."""
    facts: dict[str, Any] = notice["facts"]
    if notice["kind"] == "danger":
        return danger_text(_danger(facts))
    if notice["kind"] == "back":
        return under_text(_under(facts)) if facts["side"] == Side.PEOPLE else back_text(_back(facts), units)
    say = deeper_text if notice["kind"] == "deeper" else alarm_text
    return say(_alarm(facts, now_ms), units)


def plain(notice: Record) -> str:
    """What is said when the facts cannot be put into words: where to look."""
    if notice["kind"] == "danger":
        return f"{notice['facts'].get('room', notice['room_id'])}: DANGER to people. Do not go in alone."
    return f"{notice['facts'].get('room', notice['room_id'])}: something is wrong there, look at the page."


def _alarm(facts: dict[str, Any], now_ms: Instant) -> AlarmFacts:
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


def _danger(facts: dict[str, Any]) -> DangerFacts:
    return DangerFacts(
        room=facts["room"],
        level=facts["level"],
        value_ppm=facts["value"],
        at_least=facts["at_least"],
        limit_ppm=facts["limit"],
        somebody_inside=bool(facts["inside"]),
        invented=facts["invented"],
    )


def _under(facts: dict[str, Any]) -> UnderFacts:
    return UnderFacts(
        room=facts["room"],
        value_ppm=facts["value"],
        at_least=facts["at_least"],
        local_time=clock(local(facts["at_ms"], facts["zone"])),
        invented=facts["invented"],
    )


def _back(facts: dict[str, Any]) -> BackFacts:
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
