"""The Friday page: what the template shows, in words."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

from service.reports.friday import FridayWeek, Group
from service.reports.friday_words import FridayWords
from service.reports.note_words import NoteWords
from service.reports.words import Text, Words
from service.wording.friday_phrases import FridayPhrases


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupRow:
    """Texts about one thing in one room, of one cause."""

    what: str
    cause: str
    texts: int
    true: int
    for_nothing: int
    not_said: int


@dataclass(frozen=True, slots=True, kw_only=True)
class FridayPage:
    """The whole page."""

    title: str
    span: str
    sentences: list[str]
    groups: list[GroupRow]
    total: GroupRow
    nuisances: list[str]
    median: str
    answers: list[str]
    told: list[str]
    trials: list[str]
    texts: list[Text]
    said: FridayPhrases
    before: str
    after: str
    """The week that has begun since; empty where this is it."""


def friday_page(told: FridayWeek, words: Words) -> FridayPage:
    """Put a week on paper."""
    week, notes = FridayWords(words=words), NoteWords(words=words)
    seven = timedelta(days=7)
    return FridayPage(
        title=week.title(told),
        span=week.span(told),
        sentences=week.sentences(told),
        groups=[_row(group, week) for group in told.groups],
        total=GroupRow(
            what=week.said.column["all"],
            cause="",
            texts=len(told.texts),
            true=told.true,
            for_nothing=told.for_nothing,
            not_said=told.not_said,
        ),
        nuisances=[week.nuisance(group) for group in told.nuisances],
        median=week.median(told),
        answers=[week.asked(one) for one in (*told.unanswered, *told.answered)],
        told=[week.told(name, count) for name, count in told.told],
        trials=[notes.trial(row) for row in told.trials],
        texts=[Text(head=week.head(text), words=text.words) for text in told.texts],
        said=week.said,
        before=(told.week.friday - seven).isoformat(),
        after="" if told.week.is_running else (told.week.friday + seven).isoformat(),
    )


def _row(group: Group, week: FridayWords) -> GroupRow:
    return GroupRow(
        what=week.what(group.about),
        cause=week.cause(group),
        texts=group.texts,
        true=group.true,
        for_nothing=group.for_nothing,
        not_said=group.not_said,
    )
