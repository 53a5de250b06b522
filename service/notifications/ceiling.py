"""No more texts to one person in an hour than they can read; what is more comes as one summary.

A phone that sounds without end is turned off, and then it is off for the next house too. Danger to people is never
held, nor is the call to look after somebody who went in. Confirmations of answers count apart, so that a
conversation is not cut short by trouble, nor trouble by a conversation.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

from rules.model import HOUR_MS, SECOND_MS, Instant, Side
from service.notifications.routing import AT_THE_FARM, Way
from service.storage import full_hours, outbox, people, rooms
from service.storage.database import Connection
from service.storage.figures import Figures
from service.storage.full_hours import SUMMARY
from service.storage.rows import Record
from service.storage.silences import WHOLE_FARM

COUNTED: Final = frozenset({Way.TEXT.value, Way.VOICE.value})
"""Ways that wake people. Mail waits until it is looked at."""
NEVER_HELD: Final = frozenset({"danger", "look after", "came out", "taken", "site", "site back", SUMMARY})
"""What is about people, or about the whole farm at once; and that somebody else goes, so that they need not."""
REPLIES: Final = frozenset({"answer"})
REPLIES_TIMES: Final = 2
"""So many times as many confirmations may go out: people ask back, and two machines may have found each other."""
GATHER_MS: Final = 2 * SECOND_MS
"""What is held at the same moment stands in the same summary."""
USE_BY_MS: Final = 2 * HOUR_MS


def may_go(kind: str, *, sent: int, most: int) -> bool:
    """Whether one more of this kind may go out after ``sent`` in the last hour."""
    if kind in NEVER_HELD:
        return True
    return sent < (most * REPLIES_TIMES if kind in REPLIES else most)


def summary_due_ms(last_ms: Instant | None, now_ms: Instant) -> Instant:
    """When the next summary goes out: at once, and never two within an hour."""
    soon_ms = now_ms + GATHER_MS
    return soon_ms if last_ms is None else max(soon_ms, last_ms + HOUR_MS)


def one_more(facts: Mapping[str, Any], held: Mapping[str, Any], *, now_ms: Instant) -> dict[str, Any]:
    """The facts of a summary with one more text in it; each room stands there once."""
    names = [*facts["rooms"], *(name for name in _about(held) if name not in facts["rooms"])]
    return {**facts, "held": facts["held"] + 1, "rooms": names, "until_ms": now_ms}


async def within_ceiling(
    connection: Connection, farm_id: int, *, row: Record, figures: Figures, now_ms: Instant
) -> bool:
    """Whether a telling may go out now. If not, it is in the person's summary, and is to be ended as such.

    Args:
        connection: of the transaction that takes the telling up, so that two at once are counted.
        farm_id: the farm.
        row: the telling, with kind and facts of its notice.
        figures: the farm's own.
        now_ms: now.
    """
    kind = str(row["kind"])
    # What was tried before is counted already, and may go out any moment.
    if _is_never_held(row) or row["first_try_ms"] is not None:
        return True
    sent = await full_hours.texts_since(
        connection,
        farm_id,
        row["person_id"],
        from_ms=now_ms - HOUR_MS,
        ways=COUNTED,
        kinds=REPLIES if kind in REPLIES else (),
        but_kinds=REPLIES | NEVER_HELD,
    )
    if may_go(kind, sent=sent, most=round(figures.texts_per_hour)):
        return True
    if kind not in REPLIES:
        await _hold(connection, farm_id, row, sent=sent, now_ms=now_ms)
    return False


def _is_never_held(row: Record) -> bool:
    """The end of a danger to people is never held either."""
    for_people = row["facts"].get("side") == Side.PEOPLE or row["facts"].get("scope") in WHOLE_FARM
    return row["way"] not in COUNTED or row["person_id"] == AT_THE_FARM or row["kind"] in NEVER_HELD or for_people


async def _hold(connection: Connection, farm_id: int, row: Record, *, sent: int, now_ms: Instant) -> None:
    person_id = str(row["person_id"])
    waiting = await full_hours.untold_summary(connection, farm_id, person_id, since_ms=now_ms - USE_BY_MS)
    if waiting is not None:
        facts = one_more(waiting["facts"], row["facts"], now_ms=now_ms)
        await outbox.set_facts(connection, farm_id, waiting["notice_key"], facts)
        return
    farm = await rooms.farm(connection, farm_id)
    last_ms = await full_hours.last_summary_ms(connection, farm_id, person_id, since_ms=now_ms - HOUR_MS)
    due_ms = summary_due_ms(last_ms, now_ms)
    first = {
        "room": None,
        "count": sent,
        "held": 0,
        "rooms": [],
        "from_ms": now_ms,
        "at_ms": now_ms,
        "zone": farm["zone"],
        "invented": bool(farm["invented"]),
    }
    notice = {
        "notice_key": f"summary/{person_id}/{now_ms}",
        "kind": SUMMARY,
        "room_id": None,
        "happening_id": None,
        "at_ms": now_ms,
        "decided_ms": due_ms,
        "use_by_ms": due_ms + USE_BY_MS,
        "facts": one_more(first, row["facts"], now_ms=now_ms),
    }
    person = await people.person(connection, farm_id, person_id)
    # A call about texts that were held would wake as they would have. It is one only for who reads no texts.
    way = Way.VOICE if person["way"] == Way.VOICE else Way.TEXT
    await outbox.add_direct(connection, farm_id, notice, person_id=person_id, way=way.value)


def _about(facts: Mapping[str, Any]) -> Sequence[str]:
    """The names of the rooms that a text is about."""
    return [str(facts["room"])] if facts.get("room") else [str(name) for name in facts.get("rooms", ())]
