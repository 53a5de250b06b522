"""From a telling to a message: whom it goes to, in whose words, and how it can be answered."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

from rules.model import EDGES, MINUTE_MS, Instant, Quantity
from service.log import log
from service.notifications.carriers.message import Message
from service.notifications.enclosures import with_earlier, with_picture
from service.notifications.lines import has_answered
from service.notifications.render import plain, render
from service.notifications.routing import AT_THE_FARM, Way
from service.storage import outbox, people, rooms
from service.storage.database import Connection
from service.storage.figures import figures_of
from service.storage.rows import Record
from service.watch.facts import trend_between
from service.watch.links import answer_url, link_secret, make_link
from service.wire.reply_words import reply_name
from service.wording.language import Language
from service.wording.reader import WHOLE_FARM, Answers, Reader

STILL_OPEN: Final = frozenset({"trouble", "deeper", "danger", "no improvement"})
FRESH_MS: Final = 3 * MINUTE_MS
"""So old a value may be in a text that says "now"."""
BY_PHONE: Final = frozenset({Way.TEXT, Way.VOICE})


@dataclass(frozen=True, slots=True, kw_only=True)
class Writing:
    """Writes the messages of one farm."""

    farm: Record
    answers_by_text: bool = False
    """Whether answers by text can reach us."""
    public_url: str | None = None
    """Where the farm's pages can be reached from outside; without it nobody gets a link."""
    now_in: Callable[[Connection, str], Awaitable[list[dict[str, Any]]]] | None = None
    """What is open in a room now, as the facts of texts; without it a text says what was known at first."""

    async def message(self, connection: Connection, row: Record, now_ms: Instant) -> Message | None:
        """The message of a telling; ``None`` when its person has no address for this way (any more).

        A text is written once: a later try says the same as the first, unless it was turned down for long.
        """
        row = await self._as_of_now(connection, row, now_ms)
        if row["person_id"] == AT_THE_FARM:
            return await self._for_the_farm(connection, row, now_ms)
        person = await people.person(connection, self.farm["farm_id"], row["person_id"])
        to = person["phone"] if Way(row["way"]) in BY_PHONE else person["email"]
        wants_none = row["way"] == Way.TEXT and person["opted_out_ms"] is not None
        if not to or wants_none or not person["active"]:
            return None
        reader = await self._reader(connection, person, row)
        text = row["text"] or written(row, reader, now_ms)
        message = _message(row, text, to=to, language=reader.language, now_ms=now_ms)
        if row["way"] != Way.MAIL:
            return message
        message = await with_picture(connection, self.farm, row, message, units=reader.units, now_ms=now_ms)
        link = await self._link(connection, row)
        return message if link is None else replace(message, facts={**row["facts"], "link": link})

    async def _as_of_now(self, connection: Connection, row: Record, now_ms: Instant) -> Record:
        """Whoever is told later reads the value of then: the notice keeps what was known at first."""
        is_late = row["kind"] in STILL_OPEN and now_ms - row["at_ms"] > FRESH_MS
        if self.now_in is None or row["text"] or row["room_id"] is None or not is_late:
            return row
        told = row["facts"]
        open_now = await self.now_in(connection, row["room_id"])
        same = [f for f in open_now if (f["quantity"], f["side"]) == (told.get("quantity"), told.get("side"))]
        if same:
            return {**row, "facts": {**told, **same[0], "trend": _since_told(told, same[0])}}
        # What woke the first may be over, and something else in the room not: that is what is told then.
        crops = [f for f in open_now if f["side"] in EDGES and told.get("side") in EDGES]
        return {**row, "facts": {**told, **next(iter(crops), {})}}

    async def _for_the_farm(self, connection: Connection, row: Record, now_ms: Instant) -> Message:
        reader = Reader(units=self.farm["units"], language=_language(self.farm["language"]))
        text = row["text"] or written(row, reader, now_ms)
        message = _message(row, text, to="", language=reader.language, now_ms=now_ms)
        if row["way"] != Way.WEBHOOK:
            return message
        return await with_earlier(connection, self.farm["farm_id"], row, message)

    async def _reader(self, connection: Connection, person: Record, row: Record) -> Reader:
        reader = Reader(units=person["units"], language=_language(person["language"]), name=person["name"])
        if row["way"] != Way.TEXT or row["happening_id"] is None or row["kind"] in outbox.TO_THOSE_WOKEN:
            return reader
        if self.answers_by_text and has_answered(person):
            return replace(reader, answers=await self._answers(connection, row))
        link = await self._link(connection, row)
        return reader if link is None else replace(reader, answers=Answers(reply_name="", link=link))

    async def _answers(self, connection: Connection, row: Record) -> Answers:
        """How an answer names what this is about."""
        every = await rooms.all_rooms(connection, self.farm["farm_id"])
        names = {room["room_id"]: room["text_name"] for room in every}
        here = names.get(row["room_id"])
        return Answers(reply_name=WHOLE_FARM if here is None else reply_name(here, names.values()))

    async def _link(self, connection: Connection, row: Record) -> str | None:
        """A link that answers this telling, for as long as the farm's figure says."""
        if self.public_url is None or row["happening_id"] is None or row["kind"] in outbox.TO_THOSE_WOKEN:
            return None
        farm_id = self.farm["farm_id"]
        figures = await figures_of(connection, farm_id)
        token = await make_link(
            connection,
            farm_id,
            secret=await link_secret(connection, farm_id),
            person_id=row["person_id"],
            happening_id=row["happening_id"],
            delivery_id=row["delivery_id"],
            now_ms=row["added_ms"],
            expires_ms=row["added_ms"] + figures.ms("link_hours"),
        )
        return answer_url(self.public_url, token)


def _since_told(told: Mapping[str, Any], now: Mapping[str, Any]) -> str | None:
    """Whoever reads "falling" later takes it for now, and not for how it was when it passed the limit."""
    if told["value"] is None or now["value"] is None:
        return None
    return trend_between(Quantity(now["quantity"]), told["value"], now["value"])


def written(row: Record, reader: Reader, now_ms: Instant) -> str:
    """The text; facts that cannot be put into words must not keep anybody asleep, nor hold up other tellings."""
    try:
        return render(row, reader, now_ms=now_ms)
    except Exception:  # noqa: BLE001 - as said above
        log.exception("text could not be written", notice=row["notice_key"])
        return plain(row, reader.language)


def _message(row: Record, text: str, *, to: str, language: Language, now_ms: Instant) -> Message:
    return Message(
        to=to,
        text=text,
        key=row["delivery_id"],
        at_ms=now_ms,
        subject=text.partition(".")[0],
        kind=row["kind"],
        facts=row["facts"],
        language=language,
    )


def _language(given: str) -> Language:
    """A person's language; one that nobody speaks here is read in English."""
    return "es" if given == "es" else "en"
