"""What people ask by text: why they were told, and what is open."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

from rules.model import HOUR_MS, MINUTE_MS, Quantity, Reading, Side
from rules.people import Level
from service.storage import crops, inbound, outbox, readings, rooms
from service.storage.rows import Record
from service.watch.catalogue import SHIPPED_BY
from service.watch.open_things import OpenThing
from service.watch.reply_acts import what_is_meant
from service.watch.reply_case import LATELY_MS, Case, Outcome, room_of
from service.watch.room_now import written_down

_SAID: Final = 3
"""So many readings are said."""
_BEFORE_MS: Final = 6 * HOUR_MS
_LATELY_HEARD_MS: Final = 20 * MINUTE_MS
"""A probe that was heard since then need not be named."""
_HAS_A_LIMIT: Final = frozenset({"trouble", "also", "deeper", "danger", "no improvement"})
_WAITS: Final[Mapping[str, int]] = {Level.EIGHT_HOURS.value: 8 * 60, Level.FIFTEEN_MINUTES.value: 15}
"""Minutes over which a limit for people is an average; the others speak at once."""
_COLUMNS: Final[Mapping[str, str]] = {
    Level.EIGHT_HOURS.value: "people_8h_ppm",
    Level.CEILING.value: "people_ceiling_ppm",
}
"""Where the farm's own figure stands, for what is not the short-term limit."""
_WORST: Final = ("people", "site", "out", "silence", "room")


async def why(case: Case) -> Outcome:
    """The limit, who set it and when, the readings, the wait and the probe behind the newest text of a room."""
    notice = await _notice(case)
    if isinstance(notice, Outcome):
        return notice
    facts = notice["facts"]
    room_id = notice["room_id"]
    if room_id is None or notice["kind"] not in _HAS_A_LIMIT or "quantity" not in facts:
        return await status(case)
    shown = await _readings(case, notice)
    behind = _for_people(case, facts) if facts["side"] == Side.PEOPLE else await _for_crop(case, notice)
    values = [reading.value for reading in shown]
    return Outcome(
        result="why",
        room_id=room_id,
        happening_id=notice["happening_id"],
        facts={
            "quantity": facts["quantity"],
            "side": facts["side"],
            "limit": facts["limit"],
            "readings": values,
            "first_ms": shown[0].at_ms if shown else notice["at_ms"],
            "last_ms": shown[-1].at_ms if shown else notice["at_ms"],
            "probe": await _probe(case, notice, shown),
            **behind,
        },
    )


async def _notice(case: Case) -> Record | Outcome:
    meant = await what_is_meant(case)
    happening_id = meant.happening_id if isinstance(meant, Outcome) else meant[0].happening_id
    if isinstance(meant, Outcome) and meant.result == "which":
        return meant
    if happening_id is None:
        last = await inbound.last_told_of(
            case.connection,
            case.farm_id,
            case.person_id,
            since_ms=case.now_ms - LATELY_MS,
            room_id=case.said.room_id,
        )
        happening_id = None if last is None else str(last["happening_id"])
    notice = None
    if happening_id is not None:
        notice = await outbox.newest_notice(case.connection, case.farm_id, happening_id)
    if notice is None:
        return meant if isinstance(meant, Outcome) else Outcome(result="nothing")
    return notice


def _for_people(case: Case, facts: Mapping[str, Any]) -> dict[str, Any]:
    """A limit for people is the farm's or the usual one. It stands for an average rather than a wait.

    Who changed the farm's last is kept, and not when.
    """
    level, farm = facts.get("level", ""), case.desk.farm
    is_own = farm[_COLUMNS.get(level, "people_15min_ppm")] is not None
    return {"set_by": farm["who"] if is_own else None, "set_ms": None, "wait_minutes": _WAITS.get(level, 0)}


async def _for_crop(case: Case, notice: Record) -> dict[str, Any]:
    """A crop's limit comes from its profile, as it held when the text was made."""
    facts, at_ms = notice["facts"], notice["at_ms"]
    room = await rooms.room(case.connection, case.farm_id, notice["room_id"])
    growing = await written_down(case.connection, case.farm_id, room, case.desk.catalogue, from_ms=at_ms)
    limit = growing.limits_at(at_ms).limits.get((Quantity(facts["quantity"]), Side(facts["side"])))
    if limit is None:
        return {"set_by": None, "set_ms": at_ms, "wait_minutes": facts["minutes"]}
    profile, stage = limit.crop.profile, limit.crop.stage
    version = await crops.profile(case.connection, case.farm_id, profile.name, profile.version)
    stands = await crops.confirmation(case.connection, case.farm_id, profile.name, profile.version, stage.name)
    of = version if stands is None else stands
    return {
        "set_by": None if of["who"] == SHIPPED_BY else of["who"],
        "set_ms": of["recorded_ms"],
        "wait_minutes": limit.near.wait_ms // MINUTE_MS,
    }


async def _readings(case: Case, notice: Record) -> Sequence[Reading]:
    """The newest readings of the one probe that was farthest out, up to the moment of the text."""
    facts, at_ms = notice["facts"], notice["at_ms"]
    quantity = Quantity(facts["quantity"])
    placed = await _placed(case, notice)
    found = await readings.span(
        case.connection,
        case.farm_id,
        [row["probe_id"] for row in placed],
        from_ms=at_ms - _BEFORE_MS,
        to_ms=at_ms + 1,
        quantities=[quantity],
    )
    if not found:
        return []
    newest = {reading.probe: reading for reading in found}
    farthest = min if facts["side"] == Side.LOW else max
    probe = farthest(newest.values(), key=lambda reading: reading.value).probe
    return [reading for reading in found if reading.probe == probe][-_SAID:]


async def _placed(case: Case, notice: Record) -> list[Record]:
    """The probes in the room when the text was made; only the one at the place it named, where it did."""
    at_ms, place = notice["at_ms"], notice["facts"].get("place")
    found = await rooms.placements_in(case.connection, case.farm_id, notice["room_id"], from_ms=at_ms)
    here = [row for row in found if row["valid_from_ms"] <= at_ms]
    return [row for row in here if row["place"] == place] or here


async def _probe(case: Case, notice: Record, shown: Sequence[Reading]) -> str:
    """What people call the probe: its place, else its name."""
    probe = shown[-1].probe if shown else None
    placed = await _placed(case, notice)
    row = next((row for row in placed if probe is None or row["probe_id"] == probe), None)
    return "" if row is None else str(row["place"] or row["probe_id"])


async def status(case: Case) -> Outcome:
    """What is open, the worst first, and how lately every probe was heard."""
    still = [one for one in case.things if one.ended_ms is None]
    lines = [
        await _line(case, one) for one in sorted(still, key=lambda one: (_WORST.index(one.kind), one.began_ms))
    ]
    placed = [row for row in await rooms.all_probes(case.connection, case.farm_id) if row["room_id"]]
    longest = min(placed, key=lambda row: (row["last_heard_ms"], row["probe_id"]), default=None)
    heard_ms = 0 if longest is None else longest["last_heard_ms"]
    facts = {
        "open": lines,
        "probe": None if longest is None else str(longest["probe_id"]),
        "heard_ms": heard_ms,
        "lately": case.now_ms - heard_ms <= _LATELY_HEARD_MS,
    }
    return Outcome(result="status", facts=facts)


async def _line(case: Case, one: OpenThing) -> dict[str, Any]:
    notice = await outbox.newest_notice(case.connection, case.farm_id, one.happening_id)
    facts = {} if notice is None else notice["facts"]
    since_ms = min(facts.get("began_ms", one.began_ms), facts.get("since_ms", one.began_ms), one.began_ms)
    return {
        "name": case.room_name(room_of(one)),
        "kind": one.kind,
        "quantity": facts.get("quantity"),
        "side": facts.get("side"),
        "began_ms": since_ms,
    }
