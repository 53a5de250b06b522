"""What would have been said beside what was said: two lists of notices, joined, with their differences in words.

Notices are what the told ledger keeps, and what a replay of the same history makes. A text and a line on the round
sheet are told apart: the one woke somebody, the other did not.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from operator import itemgetter
from typing import Final

from rules.model import EDGES, HOUR_MS, MINUTE_MS, Instant, Quantity, Side
from service.localtime import local
from service.storage.outbox import OF_LIMITS
from service.storage.rows import Record
from service.wording.format import clock, day, duration, limit_in_text, value_in_text
from service.wording.phrases import ENGLISH
from service.wording.units import Units

SAME_MATTER_MS: Final = HOUR_MS
"""Two of a kind that are no further apart than this are one matter, told at another time (our judgement)."""
WAKE: Final = "wake"
NOTHING_SAID: Final = "Nothing was said, and nothing would have been."


class Mark(StrEnum):
    """How a line of one list stands to the other list."""

    SAME = "as it was said"
    MOVED = "at another time"
    TEXTED = "a text, and only on the sheet then"
    LISTED = "only on the sheet, and a text then"
    ADDED = "was not said"
    MISSING = "would not have been said"


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One thing that was said, or would have been, or both."""

    mark: Mark
    notice: Record
    """As it would have been said, if it would; else as it was."""
    was: Record | None = None
    """As it was said, if it was."""

    @property
    def at_ms(self) -> Instant:
        """When it is about."""
        return int(self.notice["at_ms"])


@dataclass(frozen=True, slots=True, kw_only=True)
class Beside:
    """Both lists joined, oldest first."""

    lines: tuple[Line, ...]

    @property
    def texts_then(self) -> int:
        """How many texts about something wrong there were."""
        return sum(_is_trouble_text(line.was) for line in self.lines if line.was is not None)

    @property
    def texts_now(self) -> int:
        """How many there would have been."""
        return sum(_is_trouble_text(line.notice) for line in self.lines if line.mark is not Mark.MISSING)

    @property
    def differs(self) -> bool:
        """Whether anything would have been otherwise."""
        return any(line.mark is not Mark.SAME for line in self.lines)


def beside(told: Sequence[Record], replayed: Sequence[Record]) -> Beside:
    """Join what was told of a room with what a replay of it tells. Limits that hold for people are left out."""
    left, new = [_about_crops(told), _about_crops(replayed)]
    pairs: list[tuple[Record, Record]] = []
    for reach_ms in (0, SAME_MATTER_MS):
        for would in list(new):
            near = [(abs(one["at_ms"] - would["at_ms"]), one) for one in left if _is_same(one, would, reach_ms)]
            if near:
                was = min(near, key=itemgetter(0))[1]
                pairs.append((was, would))
                left.remove(was)
                new.remove(would)
    lines = [Line(mark=_mark(was, would), was=was, notice=would) for was, would in pairs]
    lines += [Line(mark=Mark.MISSING, was=was, notice=was) for was in left]
    lines += [Line(mark=Mark.ADDED, notice=would) for would in new]
    return Beside(lines=tuple(sorted(lines, key=lambda line: (line.at_ms, line.notice["notice_key"]))))


def _about_crops(notices: Sequence[Record]) -> list[Record]:
    return [one for one in notices if one["kind"] in OF_LIMITS and one["facts"].get("side") in EDGES]


def _is_same(was: Record, would: Record, reach_ms: int) -> bool:
    alike = all(was["facts"][name] == would["facts"][name] for name in ("quantity", "side"))
    return alike and was["kind"] == would["kind"] and abs(was["at_ms"] - would["at_ms"]) <= reach_ms


def _mark(was: Record, would: Record) -> Mark:
    if was["telling"] != would["telling"]:
        return Mark.TEXTED if would["telling"] == WAKE else Mark.LISTED
    return Mark.SAME if was["at_ms"] == would["at_ms"] else Mark.MOVED


def _is_trouble_text(notice: Record) -> bool:
    return bool(notice["telling"] == WAKE and notice["kind"] != "back")


# --- in words ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Says:
    """Says the lines for people, on the farm's clock."""

    zone: str
    units: Units

    def summary(self, found: Beside) -> str:
        """How many texts, then and with what was tried."""
        if not found.lines:
            return NOTHING_SAID
        if not found.differs:
            return f"{_texts(found.texts_now)}; all as it was said."
        if found.texts_now == found.texts_then:
            return f"{_texts(found.texts_now)}, as many as then, but not all as it was said."
        return f"{_texts(found.texts_now)} instead of {found.texts_then}."

    def line(self, line: Line) -> str:
        """When, what, and how that stands to what was said."""
        way = "text" if line.notice["telling"] == WAKE else "sheet"
        return f"{self.moment(line.at_ms)}  {way:<5}  {self.what(line.notice)} ({self.mark(line)})"

    def moment(self, at_ms: Instant) -> str:
        """Day and time on the farm's clock."""
        here = local(at_ms, self.zone)
        return f"{day(here)} {clock(here)}"

    def what(self, notice: Record) -> str:
        """What it is about, with its value and limit where it had them."""
        facts = notice["facts"]
        quantity, side = Quantity(facts["quantity"]), Side(facts["side"])
        head = f"{facts['room']}: {ENGLISH.quantity[quantity]} {ENGLISH.side[side]}"
        return f"{head}{self._figures(facts, quantity)}{_KINDS.get(notice['kind'], '')}"

    def mark(self, line: Line) -> str:
        """How it stands to what was said; of one that moved, by how much."""
        if line.mark is not Mark.MOVED or line.was is None:
            return line.mark.value
        later_ms = line.notice["at_ms"] - line.was["at_ms"]
        return f"{duration(abs(later_ms) // MINUTE_MS)} {'later' if later_ms > 0 else 'sooner'} than it was said"

    def _figures(self, facts: Record, quantity: Quantity) -> str:
        value, limit = facts.get("value"), facts.get("limit")
        if value is None or limit is None:
            return ""
        shown = value_in_text(quantity, value, limit, self.units)
        return f", {shown}, limit {limit_in_text(quantity, limit, self.units)}"


_KINDS: Final = {"back": ", back", "deeper": ", worse", "also": ", besides", "held": ", held back"}


def _texts(count: int) -> str:
    return "No text" if count == 0 else "1 text" if count == 1 else f"{count} texts"
