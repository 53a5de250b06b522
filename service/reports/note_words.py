"""The sheet's notes put into words for one reader."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from re import sub

from rules.model import Quantity
from service.reports.happenings import Happened
from service.reports.sheet_notes import BatteryDue, CheckDue, SheetNotes
from service.reports.span import Span
from service.reports.words import Words
from service.storage.rows import Record
from service.storage.silences import SilenceRow
from service.wording.format import day, on_page
from service.wording.note_phrases import ENGLISH_NOTES, NotePhrases


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteWords:
    """Says what was noted."""

    words: Words
    said: NotePhrases = ENGLISH_NOTES

    def due(self, notes: SheetNotes) -> list[str]:
        """What is to be done this week: batteries, checks, tests that nobody answered."""
        return [
            *(self.battery(one) for one in notes.batteries),
            *(self.check(one) for one in notes.checks),
            *(self.trial(one) for one in notes.trials),
        ]

    # --- what happened --------------------------------------------------------------------------------------

    def happened(self, one: Happened) -> str:
        """What a happening was about and how long it lasted, without the room: "humidity low, 02:21 to 02:58"."""
        what, start = self.what(one), self.words.moment(one.began_ms)
        if one.ended_ms is None:
            return self.said.happened_going_on.format(what=what, start=start)
        return self.said.happened.format(what=what, start=start, end=self.words.moment(one.ended_ms))

    def what(self, one: Happened) -> str:
        """What a happening was about."""
        about, words = one.about, self.words.language[1]
        if about.kind == "silence":
            return self.said.silence.format(name=about.name)
        if about.kind == "people":
            return self.said.people
        if about.quantity is None:
            return self.said.site.format(name=about.name) if about.kind == "site" else about.name
        what = words.quantity[about.quantity]
        if about.side is not None:
            what = f"{what} {words.side[about.side]}"
        return self.said.site.format(name=what) if about.kind == "site" else what

    def truth(self, one: Happened) -> str:
        """What was said of it last, and by whom; empty while nothing was."""
        truth = one.truth
        if truth is None:
            return ""
        what = self.said.what.get(truth["what"], truth["what"]).lower()
        harm = self.said.harm.get(truth["harm"], truth["harm"])
        sentence = self.said.was_harm if what and harm else self.said.was if what else self.said.harm_only
        recorded = self.said.recorded.format(who=truth["who"], time=self.words.moment(truth["recorded_ms"]))
        return f"{sentence.format(what=what, harm=harm)} {recorded}"

    def hints(self, one: Happened) -> list[str]:
        """Answers by text that already say something of it."""
        return [
            self.said.hint[a["word"]].format(name=a["name"] or a["person_id"], time=self.words.moment(a["at_ms"]))
            for a in one.hints
        ]

    def say_so(self, one: Happened, span: Span, pages: str) -> str:
        """Where it can be said: the sheet of its night, at its line."""
        address = f"{pages.rstrip('/')}/?night={span.evening.isoformat()}#{anchor(one)}"
        return self.said.say_so.format(address=address)

    # --- what is due ----------------------------------------------------------------------------------------

    def check(self, one: CheckDue) -> str:
        """A probe that should be checked."""
        if one.checked_ms is None:
            checked = self.said.never_checked
        else:
            checked = self.said.checked.format(day=self._day(one.checked_ms), who=one.checked_who)
        return self.said.check_due.format(
            where=self._where(one), probe=one.probe_id, day=self._day(one.due_ms), checked=checked
        )

    def battery(self, one: BatteryDue) -> str:
        """A battery that should be changed."""
        volts = self._volts(one.battery.volts)
        if one.battery.before_volts is None:
            return self.said.battery_low.format(where=self._where(one), probe=one.probe_id, volts=volts)
        before = self._volts(one.battery.before_volts)
        return self.said.battery_fell.format(
            where=self._where(one), probe=one.probe_id, volts=volts, before=before
        )

    def trial(self, row: Record) -> str:
        """A test that somebody did not answer."""
        sentence = self.said.trial.get(row["kind"], self.said.trial_other)
        return sentence.format(name=row["name"], day=self._day(row["at_ms"]))

    def silence(self, one: SilenceRow, names: Mapping[str, str]) -> str:
        """What was not heard, from when to when; ``names`` are the rooms' by id."""
        start = self.words.moment(one.since_ms)
        if one.ended_ms is None:
            when = self.said.silent_still.format(start=start)
        else:
            when = self.said.silent_until.format(start=start, end=self.words.moment(one.ended_ms))
        sentence = self.said.silent.get(one.scope, self.said.silent_other)
        return sentence.format(name=names.get(one.name, one.name), when=when)

    # --- pieces ---------------------------------------------------------------------------------------------

    def _where(self, one: CheckDue | BatteryDue) -> str:
        return self.said.probe_at.format(room=one.room, place=one.place) if one.place else one.room

    def _day(self, at_ms: int) -> str:
        return day(self.words.at(at_ms))

    def _volts(self, volts: float) -> str:
        return on_page(Quantity.BATTERY, volts, self.words.units)


def anchor(one: Happened) -> str:
    """Where a happening stands on its page."""
    return "was-" + sub("[^A-Za-z0-9-]", "-", one.happening_id)
