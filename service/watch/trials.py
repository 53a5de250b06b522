"""Tests of the way to one person: a text as at night, only that nothing is wrong, and the answer to it."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Final, Literal, TypeAlias

from rules.model import DAY_MS, HOUR_MS, MINUTE_MS, Instant
from service.localtime import local
from service.storage import outbox, trials
from service.storage.database import Connection
from service.storage.rows import Record

Kind: TypeAlias = Literal["weekly", "night ring", "by hand"]

UNANSWERED_MS: Final = DAY_MS
"""So long somebody has to answer before it is shown that they did not."""
USE_BY_MS: Final = {"weekly": 2 * HOUR_MS, "night ring": 10 * MINUTE_MS, "by hand": 30 * MINUTE_MS}
TEXT, VOICE, MAIL = "text", "voice", "mail"


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialSender:
    """Sends tests of one farm."""

    farm: Record
    set_up: Collection[str]
    """The ways to tell people that are set up."""
    answers_by_text: bool
    """Whether a text can come back to us."""

    def way_to(self, person: Record) -> str | None:
        """The way a test takes: the person's own where it is set up, else the first that is."""
        phone = {TEXT, VOICE} if person["opted_out_ms"] is None else {VOICE}
        has = {way: person["phone"] if way in phone else None for way in (TEXT, VOICE)} | {MAIL: person["email"]}
        ways = sorted((w for w, to in has.items() if to and w in self.set_up), key=lambda w: w != person["way"])
        return ways[0] if ways else None

    async def send(
        self, connection: Connection, person: Record, kind: Kind, *, key: str, way: str, now_ms: Instant
    ) -> Record:
        """Send a test, within the caller's transaction; the same ``key`` sends it once.

        A test that cannot be answered is not waited for, so it is no row among the tests; but the night test is:
        somebody is to say that it rang.
        """
        farm_id, asks = self.farm["farm_id"], self.answers_by_text and way == TEXT
        notice = self._notice(kind, key, now_ms, asks=asks)
        to = str(person["person_id"])
        delivery_id = await outbox.add_direct(connection, farm_id, notice, person_id=to, way=way)
        row = {"trial_id": key, "person_id": to, "kind": kind, "at_ms": now_ms, "delivery_id": delivery_id}
        if asks or kind == trials.NIGHT_RING:
            await trials.add_trial(connection, farm_id, row)
        return row

    def _notice(self, kind: Kind, key: str, now_ms: Instant, *, asks: bool) -> Record:
        facts = {
            "kind": kind,
            "farm": self.farm["name"],
            "at_ms": now_ms,
            "zone": self.farm["zone"],
            "invented": bool(self.farm["invented"]),
            "room": None,
            "asks": asks,
        }
        return {
            "notice_key": key,
            "kind": "trial",
            "room_id": None,
            "happening_id": None,
            "at_ms": now_ms,
            "decided_ms": now_ms,
            "use_by_ms": now_ms + USE_BY_MS[kind],
            "facts": facts,
        }


def is_unanswered(trial: Record, now_ms: Instant) -> bool:
    """Whether somebody had a day to answer, and did not."""
    return trial["answered_ms"] is None and now_ms - trial["at_ms"] >= UNANSWERED_MS


def unanswered_sentence(trial: Record, zone: str) -> str:
    """Such as: Tom has not answered the test text of Tue 24 Nov."""
    here = local(trial["at_ms"], zone)
    what = "night test" if trial["kind"] == trials.NIGHT_RING else "test text"
    return f"{trial['name']} has not answered the {what} of {here:%a} {here.day} {here:%b}"
