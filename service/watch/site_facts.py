"""A failure of the whole farm as it is written down: its happening, its notice, and the facts for its texts."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Final

from rules.model import HOUR_MS, Instant, Quantity
from rules.together import Failure
from service.storage.rows import Record

USE_BY_MS: Final = 2 * HOUR_MS
"""As for a single room: later than that a text tells of another time."""
AIR_OUT_PPM: Final = 5000.0
"""From here nobody is sent into a room without a caution (OSHA, 29 CFR 1910.1000, the average of 8 h)."""

CONTACT_HOLDS_MS: Final = 12 * HOUR_MS
"""Contacts often report changes only; what one said longer ago is not taken for the present (judgement)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Site:
    """A failure with the rooms' notices that it was made of, in the farm's own order of rooms."""

    happening_id: str
    at_ms: Instant
    now_ms: Instant
    failure: Failure
    rows: Sequence[Record]

    @property
    def since_ms(self) -> Instant:
        """Since when the first of its rooms is beyond its limit."""
        return min(int(row["facts"]["began_ms"]) for row in self.rows)

    @property
    def happening(self) -> dict[str, Any]:
        """The happening of all of it."""
        return {
            "happening_id": self.happening_id,
            "room_id": None,
            "began_ms": self.since_ms,
            "ended_ms": None,
            "closed_ms": None,
            "woke": 1,
            "part_of": None,
        }


def site_notice(site: Site, farm: Record) -> dict[str, Any]:
    """What goes down the call list instead of a text for each room."""
    failure = site.failure
    facts = {
        "room": None,
        "rooms": [row["facts"]["room"] for row in site.rows],
        "room_ids": [row["room_id"] for row in site.rows],
        "what": "power" if failure.kind is None else failure.kind[0].value,
        "side": None if failure.kind is None else failure.kind[1].value,
        "since_ms": site.since_ms,
        "first_check": failure.likely.value,
        "known": failure.known,
        "told_before": any(trouble.told for trouble in failure.troubles),
        "air_out": any(_needs_air(row["facts"]) for row in site.rows),
        **common_facts(farm, site.at_ms),
    }
    return notice(site.happening_id, "site", facts, at_ms=site.at_ms, now_ms=site.now_ms)


def common_facts(farm: Record, at_ms: Instant) -> dict[str, Any]:
    """What every text needs."""
    return {"at_ms": at_ms, "zone": farm["zone"], "invented": bool(farm["invented"])}


def notice(
    happening_id: str, kind: str, facts: dict[str, Any], *, at_ms: Instant, now_ms: Instant
) -> dict[str, Any]:
    """A notice about all of it."""
    return {
        "notice_key": f"{happening_id}/{kind}/{at_ms}",
        "kind": kind,
        "telling": "wake",
        "room_id": None,
        "happening_id": happening_id,
        "at_ms": at_ms,
        "decided_ms": now_ms,
        "use_by_ms": now_ms + USE_BY_MS,
        "facts": facts,
    }


def in_order(rooms: Iterable[Record], wanted: Iterable[str]) -> list[str]:
    """How texts call these rooms, in the farm's own order."""
    among = set(wanted)
    return [room["text_name"] for room in rooms if room["room_id"] in among]


def _needs_air(facts: Record) -> bool:
    return bool(facts["quantity"] == Quantity.CO2 and facts["value"] >= AIR_OUT_PPM)
