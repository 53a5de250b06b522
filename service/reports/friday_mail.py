"""The Friday page as a mail."""

from __future__ import annotations

from service.reports.friday import FridayWeek
from service.reports.friday_words import FridayWords
from service.reports.mail import Mail, written_mail
from service.reports.note_words import NoteWords
from service.reports.words import Words
from service.wording.format import day


def friday_mail(told: FridayWeek, words: Words, *, pages: str | None = None) -> Mail:
    """Write the mail; ``pages`` is where the pages can be reached, if they can."""
    week, notes = FridayWords(words=words), NoteWords(words=words)
    said, sentences = week.said, week.sentences(told)
    subject = said.subject.format(day=day(words.at(told.week.to_ms)), news=sentences[0].rstrip("."))
    address = f"{pages.rstrip('/')}/friday?week={told.week.friday.isoformat()}" if pages else ""
    return written_mail(
        "friday_mail",
        {
            "subject": said.subject_invented.format(subject=subject) if told.farm["invented"] else subject,
            "invented": words.language[1].invented if told.farm["invented"] else "",
            "farm": f"{told.farm['name']}, {told.farm['place']}",
            "language": told.farm["language"],
            "span": week.span(told),
            "sentences": sentences,
            "parts": _parts(told, week, notes),
            "counted": said.counted,
            "pages": said.pages.format(address=address) if address else "",
        },
    )


def _parts(told: FridayWeek, week: FridayWords, notes: NoteWords) -> list[tuple[str, list[str]]]:
    """Headings with their lines; what has none is left out."""
    said = week.said
    groups = [f"{week.what(g.about)}, {week.cause(g)}: {week.texts(g.texts)}" for g in told.groups]
    answers = [line for line in [week.median(told)] if line]
    answers += [week.asked(one) for one in (*told.unanswered, *told.answered)]
    parts = [
        (said.heading_groups.format(room=told.farm["room_word"]), groups),
        (said.heading_nuisances, [week.nuisance(g) for g in told.nuisances]),
        (said.heading_answers, answers),
        (said.heading_told, [week.told(name, count) for name, count in told.told]),
        (said.heading_trials, [notes.trial(row) for row in told.trials]),
        (said.heading_list, [week.head(text) for text in told.texts]),
    ]
    return [(heading, lines) for heading, lines in parts if lines]
