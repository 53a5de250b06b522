"""Sentences about crops that share a room: what they have in common, or why nothing, and who puts up with what."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Protocol

from rules.model import Quantity, Side
from service.wording.format import band_on_page, difference_on_page
from service.wording.phrases import ENGLISH, Phrases
from service.wording.units import Units


class Part(Protocol):
    """What one kind of crop wants, and what it gets."""

    @property
    def kind(self) -> tuple[str, int, str]:
        """What it is known by."""

    @property
    def label(self) -> str:
        """The grower's name of the species."""

    @property
    def stage(self) -> str:
        """Its stage as people read it."""

    @property
    def low(self) -> float | None:
        """Its own low edge."""

    @property
    def high(self) -> float | None:
        """Its own high edge."""

    @property
    def gives_low(self) -> float | None:
        """By how much its low edge is raised."""

    @property
    def gives_high(self) -> float | None:
        """By how much its high edge is lowered."""

    @property
    def side(self) -> Side | None:
        """Where it stands outside its own band."""

    @property
    def shortfall(self) -> float:
        """How far, at most."""


class Share(Protocol):
    """One quantity of a shared room."""

    @property
    def quantity(self) -> Quantity:
        """Which."""

    @property
    def in_common(self) -> bool:
        """Whether there is a band that suits all."""

    @property
    def is_narrow(self) -> bool:
        """Whether it is hard to hold."""

    @property
    def low(self) -> float | None:
        """Of the room's band."""

    @property
    def high(self) -> float | None:
        """Of the room's band."""

    @property
    def low_from(self) -> Sequence[tuple[str, int, str]]:
        """Whose low edge binds."""

    @property
    def high_from(self) -> Sequence[tuple[str, int, str]]:
        """Whose high edge binds."""

    @property
    def parts(self) -> Sequence[Part]:
        """Everybody who has a band."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SharingPhrases:
    """All phrases of one language."""

    who: str
    wants: str
    nothing: str
    least_bad: str
    common: str
    narrow: str
    suffers: str
    beyond: dict[Side, str]
    gives_low: str
    gives_high: str
    gives_open_low: str
    gives_open_high: str
    gives_nothing: str
    stated: str
    not_stated: str


ENGLISH_SHARING: Final = SharingPhrases(
    who="{label} ({stage})",
    wants="{who} wants {band}",
    nothing="{what}: {first}, {second}: nothing in common",
    least_bad="{band} is the least bad: {costs}",
    common="{band} suits all",
    narrow="{band} suits all, and is narrower than a probe may be off: hard to hold",
    suffers="{who} up to {difference} {beyond} its band",
    beyond={Side.LOW: "under", Side.HIGH: "over"},
    gives_low="{who} gives up {difference} at its low edge",
    gives_high="{who} gives up {difference} at its high edge",
    gives_open_low="{who}, which has no low edge, is held to one",
    gives_open_high="{who}, which has no high edge, is held to one",
    gives_nothing="{who} gives up nothing",
    stated="{what} is a compromise since {since}, accepted by {name}: {band}; {costs}.",
    not_stated="{reason}. Nobody has accepted a compromise; shown is the least bad band, {band}.",
)


def nothing_in_common(share: Share, units: Units, said: SharingPhrases = ENGLISH_SHARING) -> str:
    """Why a quantity suits not all: the two crops whose edges are farthest apart."""
    parts = {part.kind: part for part in share.parts}
    first, second = (parts[keys[0]] for keys in (share.high_from, share.low_from))
    wants = (
        said.wants.format(who=who(part, said), band=band_on_page(share.quantity, part.low, part.high, units))
        for part in (first, second)
    )
    return said.nothing.format(what=_what(share), first=next(wants), second=next(wants))


def band(share: Share, units: Units) -> str:
    """The room's band, or what passes for one."""
    return band_on_page(share.quantity, share.low, share.high, units)


def least_bad(share: Share, units: Units, said: SharingPhrases = ENGLISH_SHARING) -> str:
    """The band to live with, and what each crop suffers in it."""
    return said.least_bad.format(band=band(share, units), costs=costs(share, units, said))


def costs(share: Share, units: Units, said: SharingPhrases = ENGLISH_SHARING) -> str:
    """How far each crop may stand outside its own band."""
    return ", ".join(
        said.suffers.format(
            who=who(part, said),
            difference=_difference(share.quantity, part.shortfall, units),
            beyond=said.beyond[part.side],
        )
        for part in share.parts
        if part.side is not None
    )


def in_common(share: Share, units: Units, said: SharingPhrases = ENGLISH_SHARING) -> str:
    """What suits all, and who gives up what for it."""
    sentence = said.narrow if share.is_narrow else said.common
    given = "; ".join(line for part in share.parts for line in _given(share.quantity, part, units, said))
    return f"{_what(share)}: {sentence.format(band=band(share, units))}. {given}."


def stated(share: Share, units: Units, *, since: str, name: str, said: SharingPhrases = ENGLISH_SHARING) -> str:
    """That a room is on a compromise: since when, by whom, and who puts up with what."""
    return said.stated.format(
        what=_what(share), since=since, name=name, band=band(share, units), costs=costs(share, units, said)
    )


def not_stated(share: Share, units: Units, said: SharingPhrases = ENGLISH_SHARING) -> str:
    """That a room cannot suit all, and nobody has said that this is how it shall be."""
    return said.not_stated.format(reason=nothing_in_common(share, units, said), band=band(share, units))


def who(part: Part, said: SharingPhrases = ENGLISH_SHARING) -> str:
    """A kind of crop: "Shiitake (pins)"."""
    return said.who.format(label=part.label, stage=part.stage)


def _given(quantity: Quantity, part: Part, units: Units, said: SharingPhrases) -> list[str]:
    lines = []
    for given, sentence, without_edge in (
        (part.gives_low, said.gives_low, said.gives_open_low),
        (part.gives_high, said.gives_high, said.gives_open_high),
    ):
        if given is None:
            lines.append(without_edge.format(who=who(part, said)))
        elif given > 0:
            lines.append(sentence.format(who=who(part, said), difference=_difference(quantity, given, units)))
    return lines or [said.gives_nothing.format(who=who(part, said))]


def _what(share: Share, words: Phrases = ENGLISH) -> str:
    name = words.quantity[share.quantity]
    return name[:1].upper() + name[1:]


def _difference(quantity: Quantity, difference: float, units: Units) -> str:
    return difference_on_page(quantity, difference, units).removeprefix("+")
