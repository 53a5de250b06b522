"""Every text about the whole farm at once, with the longest names and the widest figures that can stand in it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from itertools import product
from typing import Final

from service.wording.language import Language
from service.wording.reader import Answers, Reader
from service.wording.site_texts import (
    ENGLISH_SITE,
    SiteBackFacts,
    SiteFacts,
    SummaryFacts,
    site_back_text,
    site_text,
    summary_text,
)

LONGEST: Final = tuple(f"Wachsraum{n:03}" for n in range(1, 31))
HOUSES: Final = tuple(f"House {n}" for n in range(1, 13))
MIXED: Final = ("House 3", "House 4", "House 7", "Cooler", "North 2", "[{Cooler}]")
TROUBLES: Final = (*ENGLISH_SITE.trouble, ("water_pressure", "low"))
POWER: Final = ("power", "generator", "transfer switch")
CHECKS: Final = {
    ("power", ""): POWER,
    ("humidity", "low"): ("water supply",),
    ("co2", "high"): ("fresh air",),
    ("temperature", "high"): ("heat",),
    ("temperature", "low"): ("cold",),
}
LOOKS: Final = [(trouble, check) for trouble in TROUBLES for check in CHECKS.get(trouble, ("unclear",))]
ANSWERS: Final = (
    None,
    Answers(reply_name="farm"),
    Answers(reply_name="Wachsraum001"),
)


def readers(language: Language) -> Iterator[Reader]:
    for answers in ANSWERS:
        yield Reader(units="us", language=language, name="Maximiliane", answers=answers)


def sites() -> Iterator[SiteFacts]:
    yield SiteFacts(
        rooms=HOUSES[:4],
        what="humidity",
        side="low",
        since="01:10",
        first_check="water supply",
        known=False,
        told_before=False,
        air_out=False,
        invented=False,
    )
    for rooms, ((what, side), check), before, air_out in product(
        (LONGEST, LONGEST[:2], HOUSES, MIXED), LOOKS, (False, True), (False, True)
    ):
        yield SiteFacts(
            rooms=rooms,
            what=what,
            side=side,
            since="22:34",
            first_check=check,
            known=before,
            told_before=before,
            air_out=air_out,
            invented=True,
        )


def ends() -> Iterator[SiteBackFacts]:
    yield SiteBackFacts(
        rooms=HOUSES[:3],
        still=HOUSES[3:4],
        left_alone=(),
        what="humidity",
        side="low",
        still_since="01:10",
        until="02:04",
        invented=False,
    )
    for still, left, (what, side) in product(((), LONGEST[:1], LONGEST), ((), LONGEST[10:13]), TROUBLES):
        for rooms in (LONGEST, HOUSES):
            yield SiteBackFacts(
                rooms=rooms,
                still=still,
                left_alone=left,
                what=what,
                side=side,
                still_since="22:34",
                until="23:57",
                invented=True,
            )


def summaries() -> Iterator[SummaryFacts]:
    yield SummaryFacts(count=6, held=3, rooms=HOUSES[:3], invented=False)
    for held, rooms in product((1, 2, 2000), (LONGEST, HOUSES, MIXED, LONGEST[:1], ())):
        yield SummaryFacts(count=2000, held=held, rooms=rooms, invented=True)


def _sites(language: Language) -> Iterable[str]:
    return (site_text(facts, reader) for facts in sites() for reader in readers(language))


def _ends(language: Language) -> Iterable[str]:
    return (site_back_text(facts, reader) for facts in ends() for reader in readers(language))


def _summaries(language: Language) -> Iterable[str]:
    return (summary_text(facts, reader) for facts in summaries() for reader in readers(language))


FIRST_IS_USUAL: Final = True
EVERY: Final[Mapping[str, Callable[[Language], Iterable[str]]]] = {
    "site": _sites,
    "site back": _ends,
    "summary": _summaries,
}
