"""Reports put into words for one reader: their units, their language, the farm's own clock."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from rules.model import DAY_MS, MINUTE_MS, Instant, Quantity, Side
from rules.people import Level
from service.localtime import local
from service.reports.dips import Dip
from service.reports.night import RoomNight
from service.reports.round_sheet import RoomLine, RoundSheet, SilentProbe, Standing, held_back_by_first_days
from service.reports.shared_band import Clash
from service.reports.span import Span
from service.reports.trail import trail
from service.storage.holds import WORKING, HoldRow
from service.storage.rows import Record
from service.wording.format import clock, day, on_page
from service.wording.hidden_link import without_link
from service.wording.people_texts import ENGLISH_PEOPLE, LimitPassed, passed_line
from service.wording.sentences import (
    IN_ENGLISH,
    DipFacts,
    Language,
    brief_line,
    capital,
    dip_line,
    dip_sentences,
    out_now,
    unheard_line,
)
from service.wording.sharing_sentences import not_stated, stated
from service.wording.trail_phrases import ENGLISH_TRAIL
from service.wording.units import Units

MOST_DIPS_IN_A_LINE: Final = 2


_NO_PERSON: Final = "@"
"""So begins what stands for the person where a machine is told."""


def _told_ms(telling: Record) -> Instant:
    moment: Instant = telling["ended_ms"] or telling["first_try_ms"] or telling["at_ms"]
    return moment


@dataclass(frozen=True, slots=True, kw_only=True)
class Text:
    """One telling: when and to whom, what became of it, and its words."""

    head: str
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """Says what reports found."""

    farm: Record
    units: Units
    now_ms: Instant
    language: Language = IN_ENGLISH

    # --- moments --------------------------------------------------------------------------------------------

    def at(self, at_ms: Instant) -> datetime:
        """The farm's clock at a moment."""
        return local(at_ms, self.farm["zone"])

    def moment(self, at_ms: Instant) -> str:
        """A time of day; with its date when it is not of the last 24 hours."""
        shown = self.at(at_ms)
        recent = abs(self.now_ms - at_ms) < DAY_MS
        return clock(shown) if recent else f"{day(shown)} {clock(shown)}"

    def span(self, span: Span) -> str:
        """Which time a report is about."""
        said = self.language[0]
        sentence = said.night
        if span.is_running:
            sentence = said.tonight
        elif span.to_ms > span.morning_ms:
            sentence = said.night_and_day
        return sentence.format(
            evening=day(self.at(span.from_ms)),
            morning=day(self.at(span.morning_ms)),
            start=clock(self.at(span.from_ms)),
            end=clock(self.at(span.to_ms)),
        )

    # --- rooms ----------------------------------------------------------------------------------------------

    def crops(self, night: RoomNight) -> str:
        """What grows there: "Shiitake, pins day 2". A cooler says by its name what is in it."""
        if night.is_cooler:
            return ""
        said = self.language[0]
        each = [said.crop.format(label=c.label, stage=c.stage, day=c.day) for c in night.crops]
        nothing = said.outside_air if night.room["kind"] == "outside" else said.no_crop
        return "; ".join(dict.fromkeys(each)) or nothing

    def lead(self, line: RoomLine) -> str:
        """The first word about a room; empty for a quiet one."""
        said, words = self.language
        if line.standing is Standing.STILL_WRONG:
            alarm = max(line.night.open_alarms, key=lambda a: a["side"] == Side.PEOPLE)
            if alarm["side"] == Side.PEOPLE and _is_at_top(line.night):
                return ENGLISH_PEOPLE.may_be_over
            heard = {q.quantity.value for q in line.night.quantities if q.now is not None}
            sentence = said.still if alarm["quantity"] in heard else said.still_unheard
            return sentence.format(side=words.side[Side(alarm["side"])])
        if line.standing is Standing.OUT_NOW:
            sides = [q.now.side for q in line.night.out_now if q.now is not None and q.now.side is not None]
            return said.now.format(side=capital(words.side[sides[0]]))
        if line.standing is Standing.CANNOT_SAY:
            return said.cannot_say
        return said.well_again if line.standing is Standing.WELL_AGAIN else ""

    def story(self, line: RoomLine) -> str:
        """What happened in a room and how it stands, in a line or two."""
        people = self.people(line.night)
        dips = [dip_line(self._facts(line.night, dip), self.units, self.language) for dip in dips_to_tell(line)]
        sentences = [*people, *dips, *self._out_now(line.night)]
        if line.unheard:
            sentences.append(unheard_line([q.quantity for q in line.unheard], self.language))
        if not sentences and line.standing is Standing.WELL_AGAIN:
            sentences.append(self.language[0].line_told_only)
        checks = [n["facts"]["first_check"] for n in line.night.notices if n["facts"].get("first_check")]
        if checks:
            sentences.append(self.language[0].first_check.format(check=checks[-1]))
        return " ".join(sentences)

    def people(self, night: RoomNight) -> list[str]:
        """How the room stands against the limits for people; nothing where none was passed or meant to be."""
        said, air, found = ENGLISH_PEOPLE, night.people, []
        if air is not None and air.passed:
            level = list(air.passed)[-1]
            value, limit = air.passed[level], air.limits.of(level)
            passed = LimitPassed(
                level=level.value,
                value_ppm=value.ppm,
                at_least=value.at_least,
                limit_ppm=0.0 if limit is None else limit,
                coverage=value.coverage,
            )
            found.append(passed_line(passed))
        elif times := self._times_passed(night):
            found.append(said.was.format(times=self.row(times)))
        return [*found, said.air_out] if night.air_out_before_entry else found

    def mark(self, night: RoomNight) -> list[str]:
        """What a quiet room's one line must not leave out."""
        return [ENGLISH_PEOPLE.air_out_mark] if night.air_out_before_entry else []

    def _times_passed(self, night: RoomNight) -> list[str]:
        """When limits for people were passed during the night: once for each happening."""
        first: dict[str | None, Instant] = {}
        for n in night.notices:
            if n["kind"] in {"people", "danger"}:
                first.setdefault(n["happening_id"], n["at_ms"])
        return [self.moment(at_ms) for at_ms in first.values()]

    def _out_now(self, night: RoomNight) -> list[str]:
        going_on = {(dip.quantity, dip.side) for dip in night.dips if dip.to_ms is None}
        return [
            out_now(q.quantity, q.now.value, q.now.side, q.now.edge, self.units, language=self.language)
            for q in night.out_now
            if q.now and q.now.side and q.now.edge is not None and (q.quantity, q.now.side) not in going_on
        ]

    def dip(self, night: RoomNight, dip: Dip) -> list[str]:
        """A numbered dip of the night's page; the first sentence is its heading."""
        return dip_sentences(self._facts(night, dip), self.units, self.language)

    def now(self, night: RoomNight) -> list[str]:
        """What the room holds now, each quantity with its unit."""
        return [on_page(q.quantity, q.now.value, self.units) for q in night.quantities if q.now is not None]

    def brief(self, night: RoomNight) -> list[str]:
        """What was only counted."""
        return [
            brief_line(q.quantity, q.outside.brief_times, q.outside.brief_ms // MINUTE_MS, self.language)
            for q in night.quantities
            if q.outside.brief_times
        ]

    def _facts(self, night: RoomNight, dip: Dip) -> DipFacts:
        told = _notice_of(night, dip)
        probes = {line.probe_id for q in night.quantities if q.quantity is dip.quantity for line in q.lines}
        return DipFacts(
            quantity=dip.quantity,
            side=dip.side,
            start=self.at(dip.from_ms),
            end=None if dip.to_ms is None else self.at(dip.to_ms),
            last=self.at(dip.last_ms),
            minutes=dip.outside_ms // MINUTE_MS,
            times=dip.times,
            worst=dip.worst,
            worst_at=self.at(dip.worst_ms),
            place=night.places.get(dip.worst_probe or "") if len(probes) > 1 else None,
            edge=dip.edge,
            limit=dip.limit,
            past_start=None if dip.past_from_ms is None else self.at(dip.past_from_ms),
            past_minutes=dip.past_ms // MINUTE_MS,
            learned=None if dip.learned_ms is None else self.at(dip.learned_ms),
            normal=tuple(Quantity(q) for q in told.get("normal", ())),
            first_check=told.get("first_check"),
            began_before=dip.from_ms <= night.span.from_ms,
        )

    # --- telling --------------------------------------------------------------------------------------------

    def texts(self, tellings: Iterable[Record]) -> list[Text]:
        """Who was told what, in order, and what became of it; the same words to several people stand once.

        What machines were told has other words, and is not of interest to whoever reads what woke people.
        """
        said = self.language[0]
        together: dict[tuple[str, str, str], list[str]] = {}
        to_people = [t for t in tellings if not t["person_id"].startswith(_NO_PERSON)]
        for t in sorted(to_people, key=_told_ms):
            time = self.moment(_told_ms(t))
            state = said.text_state.get(t["state"], t["state"])
            if t["state"] == "gave up" and t["detail"]:
                state += f" ({t['detail']})"
            words = without_link(t["text"]) if t["text"] else self._unwritten(t)
            together.setdefault((time, state, words), []).append(t["name"] or t["person_id"])
        return [
            Text(head=said.text_to.format(time=time, names=self.row(names), state=state), words=words)
            for (time, state, words), names in together.items()
        ]

    def row(self, names: list[str]) -> str:
        """Names in a row: "Maria and Ben"."""
        *others, last = names
        return self.language[0].normal_and.format(others=", ".join(others), last=last) if others else last

    def _unwritten(self, telling: Record) -> str:
        """What a text that was never written would have been about."""
        said, words = self.language
        facts = telling["facts"]
        if facts.get("quantity") not in set(Quantity) or facts.get("side") not in set(Side):
            return said.text_unwritten_other.format(what=ENGLISH_TRAIL.about.get(telling["kind"], telling["kind"]))
        what = words.quantity[Quantity(facts["quantity"])]
        sentence = said.text_unwritten_back if telling["kind"] == "back" else said.text_unwritten
        return sentence.format(what=what, side=words.side[Side(facts["side"])])

    def answers(self, night: RoomNight) -> list[str]:
        """Who is going to a room where something is open or unanswered: everybody's newest word."""
        said = self.language[0]
        present = {a["happening_id"] for a in night.alarms}
        newest = {a["person_id"]: a for a in night.answers if a["happening_id"] in present}
        if newest:
            return [self.answer(a) for a in newest.values()]
        if not night.waits_for_answer:
            return []
        if not night.open_alarms:
            return [said.held_back_now if night.is_held_back else said.came_back]
        return [said.nobody_answered if night.tellings else said.nobody_told]

    def nothing_to_answer(self, night: RoomNight) -> str:
        """Why no answer is asked for."""
        said = self.language[0]
        if night.is_held_back:
            return said.held_back_now
        return said.not_yet_open if night.out_now else said.nothing_open

    def trail(self, night: RoomNight) -> list[str]:
        """Who was told of the night, what came of it, and every answer, in order."""
        return trail(night.tellings, night.answers, self)

    def answer(self, answer: Record) -> str:
        """One answer in a sentence."""
        said, word = self.language[0], answer["word"]
        name = answer["name"] or answer["person_id"]
        sentence = said.answer.get(word, said.answer_other)
        return sentence.format(name=name, time=self.moment(answer["at_ms"]), word=word)

    def held_back(self, line: RoomLine, notice: Record) -> str:
        """Why somebody was not woken."""
        said, names = self.language
        facts = notice["facts"]
        about = {
            "room": line.night.room["name"],
            "what": names.quantity[Quantity(facts["quantity"])],
            "side": names.side[Side(facts["side"])],
            "time": self.moment(notice["at_ms"]),
        }
        if notice["kind"] == "held":
            hold = facts["hold"]
            return said.held_back[hold["why"]].format(
                **about, who=hold["who"], until=self.moment(hold["until_ms"])
            )
        first_days = held_back_by_first_days(line, notice)
        return (said.held_back_first_days if first_days else said.held_back_figures).format(**about)

    def shared(self, night: RoomNight) -> list[str]:
        """That a room does not suit all its crops: by whose word, and who puts up with what."""
        return [self._clash(clash) for clash in night.clashes]

    def _clash(self, clash: Clash) -> str:
        if clash.stated is None:
            return not_stated(clash.share, self.units)
        since = self.moment(clash.stated.from_ms)
        return stated(clash.share, self.units, since=since, name=clash.stated.who)

    def hold(self, row: HoldRow) -> str:
        """What is held back, until when, by whom."""
        said, words = self.language
        until = {"time": self.moment(row.end_ms), "who": row.who, "why": row.why}
        if row.kind == WORKING:
            return said.working.format(**until)
        if row.quantity is None or row.side is None:
            return said.leave_all.format(**until)
        return said.leave_one.format(what=words.quantity[row.quantity], side=words.side[row.side], **until)

    def cautions(self, *, co2: bool = False, cooler: bool = False) -> list[str]:
        """What to mind before going in."""
        said = self.language[0]
        found = [said.caution_cooler] if cooler else []
        return found + [line.format(room=self.farm["room_word"]) for line in said.caution_co2 if co2]

    # --- probes ---------------------------------------------------------------------------------------------

    def silent(self, probe: SilentProbe) -> str:
        """Since when a probe is not heard."""
        said = self.language[0]
        if probe.heard_ms is None:
            return said.never_heard
        return said.silent_since.format(time=self.moment(probe.heard_ms))

    def rejected(self, sheet: RoundSheet) -> str:
        """How many messages could not be read; empty for none."""
        one, several = self.language[0].rejected
        return "" if not sheet.rejected else (one if sheet.rejected == 1 else several).format(count=sheet.rejected)


def _is_at_top(night: RoomNight) -> bool:
    """Whether all that is known of the limits for people is that a probe reads no higher."""
    return night.people is not None and [*night.people.passed][-1:] == [Level.AT_TOP]


def dips_to_tell(line: RoomLine) -> list[Dip]:
    """The dips that a line tells: those going on, then those past the text limit, then the longest."""
    dips = sorted(line.night.dips, key=lambda d: (d.to_ms is not None, d.past_from_ms is None, -d.outside_ms))
    return dips[:MOST_DIPS_IN_A_LINE]


def _notice_of(night: RoomNight, dip: Dip) -> Record:
    """The facts of the first notice about a dip, if one was made while it lasted."""
    end = dip.to_ms or night.span.to_ms
    facts: Iterable[Record] = (
        n["facts"]
        for n in night.notices
        if n["kind"] in {"trouble", "also"}
        and (n["facts"]["quantity"], n["facts"]["side"]) == (dip.quantity.value, dip.side.value)
        and dip.from_ms <= n["at_ms"] <= end
    )
    return next(iter(facts), {})
