"""The small page that an answering link opens: what is open, who goes, and the answers; and what came of one."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Final

from rules.model import CONTACTS, Instant, Quantity, Side
from service.localtime import local
from service.storage.rows import Record
from service.watch.link_view import Beyond, LinkView
from service.watch.respond import Taken
from service.web.crop_page import Choice
from service.wire.word import Word
from service.wording.format import clock, edge_on_page, on_page
from service.wording.language import Language
from service.wording.link_phrases import LINK_PHRASES_IN, LinkPhrases
from service.wording.phrases import PHRASES_IN, Phrases
from service.wording.sentences import capital
from service.wording.units import scale_of

_CONTACT_ON: Final = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """A heading and what belongs to it, in one language."""

    language: Language
    head: str
    lines: list[str]


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkPage:
    """The whole page."""

    language: Language
    title: str
    blocks: list[Block]
    banner: str = ""
    before: str = ""
    cautions: list[str] = field(default_factory=list)
    buttons: list[Choice] = field(default_factory=list)
    then: str = ""
    onward: Choice | None = None
    """A link to go on with, and its words."""
    signed: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sayings:
    """How one person is spoken to at one moment."""

    view: LinkView
    farm: Record
    now_ms: Instant

    @property
    def language(self) -> Language:
        """The person's language, or English where there is none of that name."""
        return "es" if self.view.person["language"] == "es" else "en"

    @property
    def said(self) -> LinkPhrases:
        """The sentences of the page in that language."""
        return LINK_PHRASES_IN[self.language]

    def moment(self, at_ms: Instant) -> str:
        """A time of the farm's day; with its date, where that is not today's."""
        then, now = local(at_ms, self.farm["zone"]), local(self.now_ms, self.farm["zone"])
        return clock(then) if then.date() == now.date() else f"{then.date().isoformat()} {clock(then)}"

    def page(self, head: str, lines: list[str]) -> LinkPage:
        """A page of one block, with the marks that every page carries."""
        return LinkPage(
            language=self.language,
            title=head,
            blocks=[Block(language=self.language, head=head, lines=lines)],
            banner=self.said.invented if self.farm["invented"] else "",
            signed=self.said.answer_as.format(name=self.view.person["name"]),
        )

    def head(self) -> str:
        """What it is about, since when, and whether it is over."""
        about = self.view.thing
        name = capital(self.name())
        if about.ended_ms is not None:
            return self.said.over.format(name=name, time=self.moment(about.ended_ms))
        return self.said.going_on[self.view.why or about.kind].format(
            name=name, person=self.view.missing, time=self.moment(self.view.since_ms)
        )

    def name(self) -> str:
        """What it is about; a site has no name but the farm's."""
        about = self.view.thing
        return str(self.farm["name"]) if about.name == "site" else about.name

    def beyond(self, one: Beyond) -> str:
        """One limit that is passed, and what is measured there now."""
        phrases, units = PHRASES_IN[self.language], self.view.person["units"]
        what = phrases.quantity[one.quantity]
        if one.value is None:
            line = self.said.beyond_no_value.format(what=what)
        elif one.quantity in CONTACTS:
            state = phrases.contact[one.quantity][one.value >= _CONTACT_ON]
            line = self.said.contact.format(what=what, value=state)
        elif one.limit is None:
            line = self.said.beyond_bare.format(what=what, value=on_page(one.quantity, one.value, units))
        else:
            unit = scale_of(one.quantity, units).page_unit
            line = self.said.beyond.format(
                what=what,
                value=on_page(one.quantity, one.value, units),
                side=_standing(one, phrases),
                limit=edge_on_page(one.quantity, one.limit, units) + unit,
            )
        several = len(self.view.thing.room_ids) > 1
        return self.said.in_room.format(room=one.room, said=line) if several else capital(line)

    def going(self) -> list[str]:
        """Who is on the way."""
        me = self.view.link.person_id
        lines = [
            self.said.you_are.format(time=self.moment(who.at_ms))
            if who.person_id == me
            else self.said.is_going.format(name=who.name, time=self.moment(who.at_ms))
            for who in self.view.going
        ]
        return lines or ([self.said.nobody_going] if self.view.thing.ended_ms is None else [])

    def cautions(self) -> list[str]:
        """What to mind before going in."""
        co2 = self.view.thing.kind in {"people", "out"} or any(
            b.quantity is Quantity.CO2 for b in self.view.beyond
        )
        cooler = [self.said.caution_cooler] if self.view.in_cooler else []
        return [*(self.said.caution_co2 if co2 else ()), *cooler, self.said.caution]

    def button(self, word: Word) -> str:
        """What stands on a button."""
        if word is Word.OUT and self.view.missing and not self.view.is_going:
            return self.said.is_out.format(person=self.view.missing)
        return self.said.button[word]

    def written_down(self, word: Word) -> str:
        """What was taken just now."""
        time = self.moment(self.now_ms)
        if word is Word.OUT and self.view.missing:
            return self.said.out_for.format(time=time, person=self.view.missing)
        return self.said.written_down[word].format(time=time)

    def used(self) -> str:
        """What the link was used for, and when."""
        link = self.view.link
        time = self.moment(link.used_ms or 0)
        return self.said.used.get(link.used_for or "", self.said.used_for).format(time=time)


def open_page(says: Sayings) -> LinkPage:
    """What is open, and the answers to choose from."""
    words = offered(says.view)
    lines = [*(says.beyond(one) for one in says.view.beyond), *says.going()]
    if not words:
        return says.page(says.head(), [*lines, says.said.over_nothing_to_do])
    return replace(
        says.page(says.head(), lines),
        before=says.said.before,
        cautions=says.cautions() if Word.GOING in words else [],
        buttons=[Choice(value=word.value, words=says.button(word)) for word in words],
    )


def offered(view: LinkView) -> list[Word]:
    """What can be said now: "out" by somebody who went, or of somebody who is looked for; when over, nothing."""
    if view.link.only_out:
        return [Word.OUT]
    if view.missing and view.thing.ended_ms is None and not view.is_going:
        return [Word.GOING, Word.OUT, Word.CANNOT]
    if view.is_going:
        return [Word.OUT, Word.CANNOT] if view.thing.ended_ms is None else [Word.OUT]
    return [Word.GOING, Word.CANNOT] if view.thing.ended_ms is None else []


def taken_page(says: Sayings, word: Word, taken: Taken, token: str | None) -> LinkPage:
    """An answer was taken; ``token`` is of the link for "out"."""
    lines = []
    if taken.ended_ms is not None:
        lines.append(says.said.was_over.format(time=says.moment(taken.ended_ms)))
    if taken.going_before and word is Word.GOING:
        lines.append(says.said.others_going.format(names=", ".join(taken.going_before)))
    return _with_out(says, says.page(says.written_down(word), [capital(says.name()) + ".", *lines]), token)


def spent_page(says: Sayings, token: str | None) -> LinkPage:
    """A link that was used, or is too old; it was given to this person, so it may say so."""
    if says.view.link.used_ms is None:
        too_old = says.said.too_old.format(time=says.moment(says.view.link.expires_ms))
        return says.page(too_old, [says.said.look_newest])
    used = says.page(says.used(), [says.head(), *says.going(), says.said.other_answer])
    return _with_out(says, used, token)


def _with_out(says: Sayings, page: LinkPage, token: str | None) -> LinkPage:
    """The page of somebody who is going, with the way to say that they are out again."""
    if token is None:
        return page
    return replace(
        page,
        before=says.said.before,
        cautions=says.cautions(),
        onward=Choice(value=token, words=says.said.to_out),
        then=says.said.then_out,
    )


def _standing(one: Beyond, phrases: Phrases) -> str:
    """Under, over, at, or "was under" where the newest value is inside again."""
    if one.value is None or one.limit is None or one.value == one.limit:
        return phrases.at_limit
    is_out = (one.value < one.limit) is (one.side is Side.LOW)
    return (phrases.beyond if is_out else phrases.beyond_no_longer)[one.side]
