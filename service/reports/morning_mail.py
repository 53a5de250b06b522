"""The round sheet as a mail for one person, in their units."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from service.reports.mail import Mail, written_mail
from service.reports.note_words import NoteWords
from service.reports.round_sheet import RoomLine, RoundSheet
from service.reports.words import Words
from service.wording.format import day
from service.wording.note_phrases import ENGLISH_NOTES
from service.wording.sentences import capital


def morning_mail(sheet: RoundSheet, words: Words, *, pages: str | None = None) -> Mail:
    """Write the mail; ``pages`` is where the pages can be reached, if they can."""
    return written_mail("morning_mail", _content(sheet, words, pages))


def _content(sheet: RoundSheet, words: Words, pages: str | None) -> Mapping[str, Any]:
    said = words.language[0]
    co2 = any(line.night.co2_is_or_was_high for line in sheet.lines)
    return {
        "subject": subject(sheet, words),
        "invented": words.language[1].invented if sheet.farm["invented"] else "",
        "farm": f"{sheet.farm['name']}, {sheet.farm['place']}",
        "language": sheet.farm["language"],
        "span": words.span(sheet.span),
        "on_call": _on_call(sheet, words),
        "rooms": [_room(line, words) for line in sheet.loud],
        "quiet_night": "" if sheet.loud else said.mail_quiet_night.capitalize(),
        "quiet": [_quiet(line, words) for line in sheet.quiet],
        "texts": words.texts(sheet.tellings),
        "held_back": [words.held_back(line, notice) for line, notice in sheet.held_back],
        "probes": _probes(sheet, words),
        "asked": _asked(sheet, words, pages),
        "due": NoteWords(words=words).due(sheet.notes),
        "cautions": words.cautions(co2=co2),
        "pages": said.mail_pages.format(address=pages) if pages else "",
        "said": said,
        "notes": ENGLISH_NOTES,
    }


def subject(sheet: RoundSheet, words: Words) -> str:
    """The worst in one line: "Round sheet Wed 25 Nov: House 7 still low; 2 quiet"."""
    said = words.language[0]
    news = [
        said.mail_room.format(room=line.night.room["name"], lead=words.lead(line).rstrip(".").lower())
        for line in sheet.loud
    ]
    if news and sheet.quiet:
        one, several = said.mail_rest_quiet
        news.append((one if len(sheet.quiet) == 1 else several).format(count=len(sheet.quiet)))
    date = day(words.at(sheet.span.morning_ms))
    line = said.mail_subject.format(day=date, news="; ".join(news) or said.mail_quiet_night)
    return said.mail_subject_invented.format(subject=line) if sheet.farm["invented"] else line


def _on_call(sheet: RoundSheet, words: Words) -> str:
    said = words.language[0]
    names = said.mail_then.join(row["name"] for row in sheet.on_call)
    return said.mail_on_call.format(names=names) if names else ""


def _room(line: RoomLine, words: Words) -> Mapping[str, Any]:
    now = words.now(line.night)
    return {
        "name": line.night.room["name"],
        "crops": words.crops(line.night),
        "lead": words.lead(line),
        "story": words.story(line),
        "now": words.language[0].mail_now.format(values=", ".join(now)) if now else "",
        "answers": words.answers(line.night),
    }


def _quiet(line: RoomLine, words: Words) -> str:
    name, crops, now = line.night.room["name"], words.crops(line.night), ", ".join(words.now(line.night))
    head = f"{name}, {crops}" if crops else str(name)
    return f"{head}: {now}" if now else head


def _probes(sheet: RoundSheet, words: Words) -> list[str]:
    said = words.language[0]
    notes = NoteWords(words=words)
    lines = [notes.silence(one, sheet.notes.names) for one in sheet.notes.silences]
    lines += [f"{p.room}, {p.place}: {words.silent(p)}." for p in sheet.silent]
    if sheet.waiting:
        names = ", ".join(str(p["probe_id"]) for p in sheet.waiting)
        lines.append(said.mail_waiting.format(room=sheet.farm["room_word"], probes=names))
    rejected = words.rejected(sheet)
    return [*lines, rejected] if rejected else lines


def _asked(sheet: RoundSheet, words: Words, pages: str | None) -> list[str]:
    """What happened in the night, with what was said of it or where to say it. A mail cannot take an answer."""
    notes, asked = NoteWords(words=words), []
    for one in sheet.notes.happened:
        line = f"{one.room}: {notes.happened(one)}." if one.room else f"{capital(notes.happened(one))}."
        said = [notes.truth(one), *notes.hints(one)]
        if one.is_asked and pages:
            said.append(notes.say_so(one, sheet.span, pages))
        asked.append(" ".join([line, *(sentence for sentence in said if sentence)]))
    return asked
