"""A test text to everybody, answered from their pretend phones: only then do texts ask for an answer."""

from __future__ import annotations

from typing import Any, Final

from simulator import books
from simulator.opening import Opened
from simulator.parts import DemoError
from simulator.setting_up import FarmApi
from simulator.way_back import TAKEN

WORDS: Final = {"en": "HERE", "es": "AQUI"}
"""What a test text asks for, by language."""
WITHIN_S: Final = 30.0


def prove(opened: Opened, api: FarmApi) -> int:
    """Send everybody a test text, answer each, and wait until that is confirmed.

    Returns:
        The number of the last text by then.

    Raises:
        DemoError: a test text did not come, did not ask for its word, or its answer did not get through.
    """
    for person in books.PEOPLE:
        api.post(f"/people/{person.person_id}/trials", {"kind": "by hand", "who": books.GROWER})
    for person in books.PEOPLE:
        text = _nth_text(opened, person, 1)
        word = WORDS[person.language]
        if word not in text["text"]:
            raise DemoError(f"the test text to {person.name} does not ask for {word}: {text['text']!r}")
        _answer(opened, person, word)
    confirmed = [_nth_text(opened, person, 2) for person in books.PEOPLE]
    if waiting := [row["name"] for row in api.get("/people") if row["round_trip"] is None]:
        raise DemoError(f"answers have not got through from {', '.join(waiting)}")
    return max(int(text["number"]) for text in confirmed)


def _nth_text(opened: Opened, person: books.Person, number: int) -> dict[str, Any]:
    def there() -> dict[str, Any] | None:
        found = opened.http.get(f"{opened.at.phone}/texts").json()
        mine: list[dict[str, Any]] = [text for text in found if text["to"] == person.phone]
        return mine[number - 1] if len(mine) >= number else None

    what = f"{'the test text' if number == 1 else 'the answer to the answer'} to {person.name}"
    return opened.parts.wait_for(there, within_s=WITHIN_S, what=what)


def _answer(opened: Opened, person: books.Person, word: str) -> None:
    answered = opened.http.post(f"{opened.at.phone}/phones/{person.person_id}/answers", data={"text": word})
    answered.raise_for_status()
    if (came_back := answered.json()["came_back"]) != TAKEN:
        raise DemoError(f"the answer of {person.name} was {came_back}")
