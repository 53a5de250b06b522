"""The Friday page put into words for one reader: three sentences, and the lists behind them."""

from __future__ import annotations

from dataclasses import dataclass

from service.reports.friday import Asked, FridayWeek, Group, Told
from service.reports.happenings import Happened
from service.reports.note_words import NoteWords
from service.reports.words import Words
from service.wording.format import clock, day, duration
from service.wording.friday_phrases import ENGLISH_FRIDAY, FridayPhrases


@dataclass(frozen=True, slots=True, kw_only=True)
class FridayWords:
    """Says what a week was."""

    words: Words
    said: FridayPhrases = ENGLISH_FRIDAY

    def title(self, told: FridayWeek) -> str:
        """What the page is called."""
        week = told.week
        sentence = self.said.title_running if week.is_running else self.said.title
        return sentence.format(day=self._day(week.now_ms if week.is_running else week.to_ms))

    def span(self, told: FridayWeek) -> str:
        """Which time it is about."""
        end_ms = min(told.week.to_ms, told.week.now_ms)
        return self.said.span.format(start=self._moment(told.week.from_ms), end=self._moment(end_ms))

    def sentences(self, told: FridayWeek) -> list[str]:
        """The week in three sentences; in one when nobody was texted."""
        if not told.texts:
            return [self.said.nobody]
        return [self._so_many(told), self._longest(told), self._most_for_nothing(told)]

    def _so_many(self, told: FridayWeek) -> str:
        none, one, several = self.said.by_night
        night, by_day = told.by_night, len(told.texts) - told.by_night
        counts = [none if not night else one if night == 1 else several.format(count=night)]
        if by_day:
            counts.append((self.said.by_day[0] if by_day == 1 else self.said.by_day[1]).format(count=by_day))
        if told.not_said == len(told.texts):
            true = self.said.all_not_said
        else:
            true = self.said.of_them_true.format(count=told.true)
            true += self.said.not_said.format(count=told.not_said) if told.not_said else ""
        return self.said.so_many.format(counts=self.words.row(counts), true=true)

    def _longest(self, told: FridayWeek) -> str:
        if not told.answered:
            return self.said.nobody_answered
        longest = told.answered[0]
        if longest.minutes:
            where = self._place(longest.happened, longest.first_ms)
            sentence = self.said.longest.format(duration=duration(longest.minutes), where=where)
        else:
            sentence = self.said.longest_under
        if not told.unanswered:
            return sentence
        one, several = self.said.not_answered
        first = told.unanswered[0]
        where = self._place(first.happened, first.first_ms)
        count = len(told.unanswered)
        return f"{sentence} {(one if count == 1 else several).format(count=count, where=where)}"

    def _most_for_nothing(self, told: FridayWeek) -> str:
        if told.nuisances:
            most = told.nuisances[0]
            return self.said.most_for_nothing.format(
                what=self._short(most.about), texts=self.texts(most.for_nothing), cause=self.cause(most)
            )
        return self.said.nobody_said if told.not_said == len(told.texts) else self.said.none_for_nothing

    # --- the lists ------------------------------------------------------------------------------------------

    def what(self, one: Happened) -> str:
        """What a happening was about, with its room."""
        what = NoteWords(words=self.words).what(one)
        return f"{one.room}, {what}" if one.room else what

    def _short(self, one: Happened) -> str:
        """The same without the side: "House 3 humidity"."""
        if one.about.quantity is None or not one.room:
            return self.what(one)
        return f"{one.room} {self.words.language[1].quantity[one.about.quantity]}"

    def cause(self, group: Group) -> str:
        """What it turned out to be."""
        return self.said.cause.get(group.cause, self.said.cause_not_said)

    def texts(self, count: int) -> str:
        """So many texts."""
        one, several = self.said.texts
        return (one if count == 1 else several).format(count=count)

    def nuisance(self, group: Group) -> str:
        """One that was for nothing, and what to look at."""
        line = f"{self.what(group.about)}: {self.texts(group.for_nothing)}, {self.cause(group)}."
        fix = self.said.fix.get(group.cause, "")
        return f"{line} {fix}" if fix else line

    def median(self, told: FridayWeek) -> str:
        """The usual wait; empty where nobody answered."""
        minutes = told.median_minutes
        return "" if minutes is None else self.said.median.format(duration=duration(round(minutes)))

    def asked(self, one: Asked) -> str:
        """How long one answer took."""
        where, what = self._moment(one.first_ms), self.what(one.happened)
        if one.minutes is None:
            return self.said.unanswered.format(where=where, what=what)
        return self.said.answered.format(where=where, what=what, duration=duration(one.minutes), name=one.by)

    def told(self, name: str, count: int) -> str:
        """How often one person was told."""
        return self.said.told.format(name=name, texts=self.texts(count))

    def head(self, text: Told) -> str:
        """One text of the list: when, to whom, true or not."""
        state = {True: self.said.true, False: self.said.for_nothing, None: self.said.unsaid}[text.was_true]
        names = self.words.row(list(dict.fromkeys(text.names)))
        return f"{self._moment(text.told_ms)}, {self.what(text.happened)}, {names}: {state}"

    # --- moments --------------------------------------------------------------------------------------------

    def _place(self, one: Happened, at_ms: int) -> str:
        where = one.room or self.what(one)
        return self.said.place.format(room=where, day=self._day(at_ms).partition(" ")[0])

    def _day(self, at_ms: int) -> str:
        return day(self.words.at(at_ms))

    def _moment(self, at_ms: int) -> str:
        return f"{self._day(at_ms)} {clock(self.words.at(at_ms))}"
