"""A notice on its way down a random call list, minute by minute: what addressing does, without a database.

What becomes of each telling is laid down beforehand, and so is who answers what, and when. Minutes count from the
notice.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final, Literal, TypeAlias

from hypothesis import strategies as st

from rules.model import MINUTE_MS
from service.notifications.routing import Chain, Line, Pace, Told, Way, next_step
from service.storage.figures import LEAST_AND_MOST
from service.watch.respond import STOPS, who_is_going
from service.wire.word import Word

USE_BY: Final = 120
"""What has not gone out by this minute does not go out."""
LAST: Final = 60 * 60
"""By this minute everything must long be over: ten repeats, two hours apart, and what went before."""
MOST: Final = 200
"""More tellings of one notice than there can be: six people, ten times each, by three ways."""
PEOPLE: Final = ("ana", "ben", "cal", "dee", "eva", "fay")
BY_PEOPLE: Final = (Way.TEXT, Way.VOICE, Way.MAIL)

Becomes: TypeAlias = Literal["reaches", "refused", "fails", "waits", "lost"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Fate:
    """What becomes of one telling."""

    becomes: Becomes
    """It arrives; is refused at once; is tried until given up, or for hours; was taken, and lost later."""
    after: int = 0
    """So many minutes later, where that takes time."""

    def at(self, added: int, now: int) -> str:
        """``sent``, ``waiting`` or ``gave up``."""
        since = now - added
        if added > USE_BY or self.becomes == "refused":
            return "gave up"
        if self.becomes == "reaches" or (self.becomes == "lost" and since < self.after):
            return "sent"
        waits = self.becomes == "waits" or (self.becomes == "fails" and since < self.after)
        return "waiting" if waits and now <= USE_BY else "gave up"


Fates: TypeAlias = Mapping[tuple[str, Way], Sequence[Fate]]
"""Of the first telling to a person by a way, the second, and so on; the last stands for all that follow."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """An answer."""

    minute: int
    person_id: str
    word: Word


@dataclass(frozen=True, slots=True, kw_only=True)
class Night:
    """All that is laid down."""

    lines: Sequence[Line]
    fates: Fates
    said: Sequence[Said]
    pace: Pace


@dataclass(slots=True, kw_only=True)
class Telling:
    """One that was made."""

    minute: int
    step: int
    person_id: str
    way: Way
    fate: Fate
    called_off: bool = False

    def at(self, now: int) -> str:
        return self.fate.at(self.minute, now)

    def failed(self, now: int) -> bool:
        """Whether it is given up, or was tried in vain more than once."""
        return self.at(now) == "gave up" or (self.at(now) == "waiting" and now > self.minute)

    def told(self, now: int) -> Told:
        return Told(
            person_id=self.person_id,
            way=self.way,
            added_ms=self.minute * MINUTE_MS,
            may_reach=not self.called_off and self.at(now) != "gave up",
            failing=not self.called_off and self.at(now) == "waiting" and now > self.minute,
            called_off=self.called_off,
        )


@dataclass(slots=True, kw_only=True)
class Lived:
    """A night as it went."""

    night: Night
    told: list[Telling] = field(default_factory=list)
    heard: list[Said] = field(default_factory=list)
    open: bool = True
    now: int = 0
    closed_at: int | None = None

    def going(self, words: Collection[str] = STOPS) -> list[str]:
        return who_is_going([{"person_id": s.person_id, "word": s.word} for s in self.heard], words)

    def cannot(self) -> set[str]:
        return set(self.going({Word.CANNOT}))

    def to(self, person_id: str) -> list[Telling]:
        """What counts of what this person was told."""
        return [t for t in self.told if t.person_id == person_id and not t.called_off]

    def look(self, now: int) -> None:
        """What happens at one look: what was said by then, what became of what was sent, who is told next."""
        before, self.now = self.now, now
        for said in [s for s in self.night.said[len(self.heard) :] if s.minute <= now]:
            self._hear(said)
        if any(t.at(before) == "sent" and t.at(now) == "gave up" for t in self.told) and not self.going():
            self.open = True  # a receipt came: it was lost after all
        if self.open:
            self._tell(now)

    def _hear(self, said: Said) -> None:
        before = self.going()
        self.heard.append(said)
        if said.word in STOPS:
            self.open = False
            for t in self.told:
                t.called_off = t.called_off or t.at(said.minute) == "waiting"
        elif said.word is Word.CANNOT and before == [said.person_id]:
            self.open = True

    def _tell(self, now: int) -> None:
        chain = Chain(
            call_list=self.night.lines,
            told=[t.told(now) for t in self.told],
            cannot=self.cannot(),
            pace=self.night.pace,
            began_ms=0,
        )
        step = next_step(chain, somebody_is_going=bool(self.going()), now_ms=now * MINUTE_MS)
        waiting = any(t.at(now) == "waiting" and not t.called_off for t in self.told)
        for tell in step.tell:
            n = len([t for t in self.told if (t.person_id, t.way) == (tell.person_id, tell.way)])
            fates = self.night.fates[tell.person_id, tell.way]
            fate = fates[min(n, len(fates) - 1)]
            self.told.append(
                Telling(minute=now, step=tell.step, person_id=tell.person_id, way=tell.way, fate=fate)
            )
        assert len(self.told) < MOST, "told without end"
        if step.finished and not waiting and not step.tell:
            self.open, self.closed_at = False, now


def live(night: Night, minutes: Iterable[int]) -> Lived:
    """Live through a night, looking at these minutes, until nothing more can come."""
    lived = Lived(night=night)
    for now in minutes:
        lived.look(now)
        to_come = [s.minute for s in night.said[len(lived.heard) :]]
        lost = [t.minute + t.fate.after for t in lived.told if t.fate.becomes == "lost" and t.at(now) == "sent"]
        if not lived.open and not to_come and not lost:
            break
    return lived


def _fate(becomes: Becomes) -> st.SearchStrategy[Fate]:
    return st.builds(Fate, becomes=st.just(becomes), after=st.integers(1, 60))


def _between(name: str, *, usual: int) -> st.SearchStrategy[int]:
    """A figure of the farm's, within its bounds; small ones more often, as more happens then."""
    least, most = LEAST_AND_MOST[name]
    return st.integers(least, usual) | st.integers(least, most)


_FATE: Final = st.just(Fate(becomes="reaches")) | st.one_of(
    _fate("refused"), _fate("fails"), _fate("waits"), _fate("lost")
)
_SAYS: Final = st.sampled_from([(Word.GOING,), (Word.CANNOT,), (Word.FIXED,), (Word.GOING, Word.CANNOT)])


@st.composite
def nights(draw: st.DrawFn) -> Night:
    """A random night: people, ways, phones, answers and figures."""
    people = draw(st.lists(st.sampled_from(PEOPLE), max_size=6))
    of = {who: draw(st.lists(st.sampled_from(BY_PEOPLE), unique=True, max_size=3)) for who in sorted(set(people))}
    proven = {who: draw(st.booleans()) for who in of}
    after = sorted(draw(st.lists(st.integers(0, 90), min_size=len(people), max_size=len(people))))
    lines = [
        Line(person_id=who, after_ms=wait * MINUTE_MS, ways=tuple(of[who]), answers=proven[who])
        for who, wait in zip(people, after, strict=True)
    ]
    fates = {(who, way): draw(st.lists(_FATE, min_size=1, max_size=3)) for who in of for way in of[who]}
    return Night(lines=lines, fates=fates, said=draw(_answers(list(of))), pace=draw(_paces(lines)))


@st.composite
def _answers(draw: st.DrawFn, people: list[str]) -> list[Said]:
    said: list[Said] = []
    for who in draw(st.lists(st.sampled_from(people), max_size=3)) if people else ():
        minute = draw(st.integers(0, 150))
        for word in draw(_SAYS):
            said.append(Said(minute=minute, person_id=who, word=word))
            minute += draw(st.integers(0, 40))
    return sorted(said, key=lambda s: s.minute)


@st.composite
def _paces(draw: st.DrawFn, lines: Sequence[Line]) -> Pace:
    first = next((line for line in lines if line.ways), None)
    two: dict[str, Any] = {"at_once": 2} if first is None or not first.answers else {}
    return Pace(
        at_once=two.get("at_once") or draw(st.integers(1, 2)),
        again_ms=draw(_between("again_minutes", usual=15)) * MINUTE_MS,
        most_tellings=draw(_between("most_tellings", usual=4)),
        call_after_ms=draw(_between("call_after_minutes", usual=30)) * MINUTE_MS,
    )
