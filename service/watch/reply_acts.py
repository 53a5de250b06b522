"""Acting on answers about what is open: going, cannot, fixed, probe, out."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from rules.model import Instant
from service.storage import happenings, holds, inbound
from service.storage.holds import WORKING
from service.watch.open_things import OpenThing, thing
from service.watch.out_clock import LOOK_BACK_MS, came_out
from service.watch.reply_case import LATELY_MS, Case, Outcome, room_of
from service.watch.respond import Taken, hold_rooms, meant_by, take
from service.wire.word import Word

OUT_OF_NOTHING: Final = "out nowhere"
"""The result of "out" from somebody who was not written down as going anywhere, or as working."""
_MOST_OPTIONS: Final = 4


async def answer_what_is_open(case: Case) -> Outcome:
    """Going, cannot, fixed or probe: find what is meant, take it, and say what it came to."""
    meant = await what_is_meant(case)
    if isinstance(meant, Outcome):
        return meant
    await hold_rooms(case.connection, case.farm_id, meant)
    taken = [await _take(case, one) for one in meant]
    room_id, first = room_of(meant[0]), meant[0]
    facts: dict[str, Any] = {"reply": case.reply(room_id)}
    if all(one.ended_ms is not None for one in taken):
        return await _after_the_end(case, first, first.ended_ms or 0)
    before = next((one.going_before for one in taken if one.going_before), ())
    result = _result(case.said.word, before, has_people=any(one.kind == "people" for one in meant))
    if case.said.word is Word.GOING:
        facts["caution"] = await case.caution(meant, room_id=room_id)
    if before:
        facts["person"] = before[0]
    return Outcome(result=result, room_id=room_id, happening_id=first.happening_id, facts=facts)


def _result(word: Word, before: Sequence[str], *, has_people: bool) -> str:
    if word is Word.GOING:
        return "going too" if before else "going"
    if word is Word.CANNOT:
        return "cannot, somebody goes" if before else "cannot"
    return "probe, people" if word is Word.PROBE and has_people else word.value


async def what_is_meant(case: Case) -> list[OpenThing] | Outcome:
    """The happenings that an answer is about: those of one room, or of the whole farm; or why there are none."""
    things = meant_by(case.said.word, case.named(case.things))
    still = [one for one in things if one.ended_ms is None]
    meant = _grouped(still or things)
    if len(meant) > 1 and still:
        meant = await _narrowed(case, meant)
    if len(meant) > 1 and still:
        word, options = case.said.word.value, list(dict.fromkeys(case.reply(room_of(group[0])) for group in meant))
        return Outcome(result="which", facts={"word": word, "options": options[:_MOST_OPTIONS]})
    return meant[0] if meant else await _nothing_open(case)


def _grouped(things: Sequence[OpenThing]) -> list[list[OpenThing]]:
    """What would be named alike stands together; the newest first."""
    groups: dict[str | None, list[OpenThing]] = {}
    for one in things:
        groups.setdefault(room_of(one), []).append(one)
    return list(groups.values())


async def _narrowed(case: Case, groups: list[list[OpenThing]]) -> list[list[OpenThing]]:
    """Somebody who went to one of them, or was told of one only, means that one."""
    going = set(await case.going_to()) if case.said.word is not Word.GOING else set()
    ids = [one.happening_id for group in groups for one in group]
    told = {
        row["happening_id"]
        for row in await happenings.tellings_of(case.connection, case.farm_id, ids)
        if row["person_id"] == case.person_id
    }
    for known in (going, told):
        of_these = [group for group in groups if any(one.happening_id in known for one in group)]
        if len(of_these) == 1:
            return of_these
    return groups


async def _nothing_open(case: Case) -> Outcome:
    """Nothing waits for an answer: it may be one to what is over by now, or to what never was."""
    named = case.said.room_id
    if named is not None and case.room_name(named) is None:
        return Outcome(result="nothing")
    last = await inbound.last_told_of(
        case.connection, case.farm_id, case.person_id, since_ms=case.now_ms - LATELY_MS, room_id=named
    )
    if last is not None and last["ended_ms"] is not None:
        over = await thing(case.connection, case.farm_id, last["happening_id"])
        return await _after_the_end(case, over, last["ended_ms"])
    return Outcome(result="nothing" if named is None else "nothing there", room_id=named)


async def _after_the_end(case: Case, over: OpenThing, ended_ms: Instant) -> Outcome:
    notices = await happenings.notices_of(case.connection, case.farm_id, [over.happening_id])
    back = next((one for one in reversed(notices) if one["kind"] == "back"), None)
    in_band = back is not None and back["facts"].get("in_band") is True
    result = "over, people" if over.kind == "people" else "back in band" if in_band else "over"
    return Outcome(
        result=result, room_id=room_of(over), happening_id=over.happening_id, facts={"other_ms": ended_ms}
    )


async def come_out(case: Case) -> Outcome:
    """Out: of what they went to, and of wherever they were working. Nobody need look after them any more.

    From somebody who was not inside, it means whoever they were to look after.
    """
    going = [await thing(case.connection, case.farm_id, one) for one in await case.going_to()]
    left = case.named(going)
    worked = await _stop_working(case)
    if not left and not worked:
        left = [one for one in case.named(case.things) if one.kind == "out"]
    await hold_rooms(case.connection, case.farm_id, left)
    for one in left:
        await _take(case, one)
    places = {room_of(one) for one in left} | set(worked)
    happening_id = left[0].happening_id if left else None
    if not places:
        return Outcome(result=OUT_OF_NOTHING)
    await came_out(case.connection, case.farm_id, case.person_id, case.now_ms)
    place = next(iter(places)) if len(places) == 1 else None
    if place is None:
        return Outcome(result="out everywhere", happening_id=happening_id)
    return Outcome(result="out", room_id=place, happening_id=happening_id)


async def _stop_working(case: Case) -> list[str | None]:
    """End their working, in the room named or everywhere, also what should have ended by itself: the rooms."""
    on = await holds.all_holds(case.connection, case.farm_id, from_ms=case.now_ms - LOOK_BACK_MS)
    mine = [one for one in on if (one.kind, one.person_id, one.ended_ms) == (WORKING, case.person_id, None)]
    meant = [one for one in mine if case.said.room_id in {None, one.room_id}]
    for one in meant:
        who = str(case.person["name"])
        await holds.end_hold(case.connection, case.farm_id, one.hold_id, case.now_ms, who=who)
    return [one.room_id for one in meant]


async def _take(case: Case, one: OpenThing) -> Taken:
    return await take(
        case.connection,
        case.farm_id,
        happening_id=one.happening_id,
        person_id=case.person_id,
        word=case.said.word,
        way=case.way,
        now_ms=case.now_ms,
    )
