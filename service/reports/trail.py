"""Who was told of a night, when and by which way, what came of it, and what they said: line by line.

Every telling stands for itself here; on the page above, the same words to several people stand once.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

from rules.model import Instant
from service.storage.rows import Record
from service.wording.trail_phrases import ENGLISH_TRAIL, TrailPhrases


class Speaker(Protocol):
    """Says moments and answers."""

    def moment(self, at_ms: Instant) -> str: ...

    def answer(self, answer: Record) -> str: ...


def trail(
    tellings: Sequence[Record], answers: Sequence[Record], words: Speaker, said: TrailPhrases = ENGLISH_TRAIL
) -> list[str]:
    """The lines, oldest first: tellings of the night, and what people answered.

    Args:
        tellings: with their notice's ``kind`` and the person's ``name``.
        answers: with the person's ``name``.
        words: who says moments and answers.
        said: phrases of one language.
    """
    lines: list[tuple[Instant, int, str]] = []
    seen: set[tuple[str, str]] = set()
    for telling in sorted(tellings, key=lambda t: (t["added_ms"], t["step"], t["person_id"])):
        again = (telling["notice_key"], telling["person_id"]) in seen
        seen.add((telling["notice_key"], telling["person_id"]))
        at_ms = telling["ended_ms"] or telling["first_try_ms"] or telling["added_ms"]
        lines.append((at_ms, 0, _told(telling, words, said, again=again)))
    lines += [(answer["at_ms"], 1, words.answer(answer)) for answer in answers]
    return list(dict.fromkeys(line for _, _, line in sorted(lines, key=lambda one: one[:2])))


def _told(telling: Record, words: Speaker, said: TrailPhrases, *, again: bool) -> str:
    at_ms = telling["ended_ms"] or telling["first_try_ms"] or telling["added_ms"]
    state = said.state.get(telling["state"], telling["state"])
    if telling["state"] == "sent" and telling["receipt"]:
        state = said.receipt.get(telling["receipt"], state).format(time=words.moment(telling["receipt_ms"]))
    elif telling["state"] not in {"sent", "waiting"} and telling["detail"]:
        state = f"{state} ({telling['detail']})"
    return said.line.format(
        time=words.moment(at_ms),
        way=said.way.get(telling["way"], telling["way"]),
        name=telling["name"] or said.farm,
        again=said.again if again else "",
        what=said.about.get(telling["kind"], telling["kind"]),
        state=state,
    )
