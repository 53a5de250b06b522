"""Random nights for the farm of ``night_call``: phones and answers, a gateway and a service down at times."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from random import Random
from typing import Final

from service.notifications.carriers.message import Message
from service.notifications.carriers.outcome import Accepted, Outcome, Refused, Unreachable
from tests.support.night_call import NUMBERS, TOLD_BY, NightCall, Phone, Says, off
from tests.support.text_gateway import Answer
from tests.support.watched import DRY, GOOD, hear, judge_at

LAST: Final = 330
"""By this minute all is over, whatever happened: nothing is down or stopped later than ``QUIET_FROM``."""
QUIET_FROM: Final = 180
STRANGER: Final = "+12025550199"
DOWN: Final = (Answer(status=503), Answer(hang_up=True), Answer(status=400, body=b"no such number"))
REFUSALS: Final[Sequence[Outcome]] = (
    Refused(protocol="smtp", status=554, detail="554 no"),
    Refused(protocol="smtp", status=451, detail="451 later"),
    Unreachable(detail="no answer"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """From one minute to before another."""

    first: int
    until: int

    def __contains__(self, at: object) -> bool:
        return isinstance(at, int) and self.first <= at < self.until


@dataclass(frozen=True, slots=True, kw_only=True)
class Laid:
    """A night as it is laid down."""

    phones: dict[str, Phone]
    proven: tuple[str, ...]
    by_mail: tuple[str, ...]
    gateway_down: Sequence[tuple[Span, Answer]]
    mail_down: Sequence[tuple[Span, Outcome]]
    stopped: Sequence[Span]
    lost: Sequence[tuple[int, str]]
    """At this minute the gateway says that the last text to somebody was lost."""
    mended_at: int | None


def lay_down(seed: int) -> Laid:
    """One of them; the same for the same seed."""
    chance = Random(seed)
    people = sorted(NUMBERS)
    return Laid(
        phones={who: _phone(chance) for who in people},
        proven=tuple(who for who in people if chance.random() < 0.6),
        by_mail=tuple(who for who in people if chance.random() < 0.5),
        gateway_down=[(_span(chance, 150), chance.choice(DOWN)) for _ in range(chance.randrange(3))],
        mail_down=[(_span(chance, 150), chance.choice(REFUSALS)) for _ in range(chance.randrange(3))],
        stopped=[_span(chance, 90) for _ in range(chance.randrange(3))],
        lost=sorted((chance.randrange(15, 75), chance.choice(people)) for _ in range(chance.randrange(3))),
        mended_at=chance.choice([None, None, chance.randrange(17, 170)]),
    )


def _span(chance: Random, longest: int) -> Span:
    first = chance.randrange(QUIET_FROM - 20)
    return Span(first=first, until=min(first + chance.randrange(1, longest), QUIET_FROM))


def _phone(chance: Random) -> Phone:
    late = chance.choice([1, 3, 20, 50])
    says: Sequence[Sequence[Says]] = (
        (Says(text="7 going", after=late),),
        (Says(text="7 going", after=late), Says(text="out", after=late + 40)),
        (Says(text="7 going", after=late), Says(text="7 cannot", after=late + 7)),
        (Says(text="7 cannot", after=late),),
        (Says(text="7 fixed", after=late),),
        (Says(text="ya voy", after=late, same_as="one"), Says(text="ya voy", after=late + 1, same_as="one")),
        (Says(text="7 going", after=late, phone=STRANGER),),
        (Says(text="what?", after=late),),
    )
    chosen, nth = chance.choice(says), chance.choice([0, 0, 1])
    return off if chance.random() < 0.4 else lambda n, _text: chosen if n == nth else ()


@dataclass(slots=True, kw_only=True)
class Post:
    """Mail that is down at times."""

    laid: Laid
    now: Callable[[], int]
    kept: list[Message] = field(default_factory=list)

    async def carry(self, message: Message) -> Outcome:
        down = [outcome for span, outcome in self.laid.mail_down if self.now() in span]
        if down:
            return down[0]
        self.kept.append(message)
        return Accepted(detail="kept")


@dataclass(slots=True, kw_only=True)
class Living:
    """Lives through one."""

    night: NightCall
    laid: Laid
    at: int = 0
    taken: list[tuple[int, str]] = field(default_factory=list)
    """(minute, key) of every text that the gateway said it took."""

    async def through(self) -> None:
        """The whole of it: every minute at first, every third later."""
        mended = LAST + 1 if self.laid.mended_at is None else self.laid.mended_at
        await hear(self.night.database, [DRY if 5 <= at < mended else GOOD for at in range(LAST + 1)])
        stood_still = False
        for at in [*range(75), *range(75, LAST + 1, 3)]:
            self.at = at
            if any(at in span for span in self.laid.stopped):
                stood_still = True
                continue
            if stood_still or at < TOLD_BY or mended <= at < mended + 10 or at % 9 == 0:
                await judge_at(self.night.database, self.night.farm, at)
            stood_still = False
            await self._minute(at)

    async def _minute(self, at: int) -> None:
        gateway = self.night.gateway
        down = [answer for span, answer in self.laid.gateway_down if at in span]
        gateway.answer = down[0] if down else Answer()
        for minute, who in self.laid.lost:
            if minute == at and NUMBERS[who] in {json.loads(one.body)["to"] for one in gateway.asked}:
                await self.night.receipt(who, "lost")
        before = len(gateway.asked)
        await self.night.tick(at)
        if not down:
            self.taken += [(at, json.loads(one.body)["key"]) for one in gateway.asked[before:]]
