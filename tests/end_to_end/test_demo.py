"""The demo, run for real: an ordinary evening, a humidifier that stops, a text, an answer, and nothing left."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import httpx
import pytest

from simulator import books, evening
from simulator.clock import wall_now_ms
from simulator.demo import FACTOR
from simulator.parts import ROOT
from simulator.text_check import septets
from simulator.way_back import TAKEN
from tests.support.processes import with_setting
from tests.support.waiting import until_sync

pytestmark = pytest.mark.slow

QUIET_S = 10
"""Real seconds without a fault, in which no text may come: more than three minutes of the farm."""


FIRST = next(person for person in books.PEOPLE if person.person_id == books.TOLD_FIRST)


@dataclass(frozen=True, slots=True)
class Demo:
    """One run of the demo: its process, and where its folders go."""

    process: subprocess.Popen[str]
    scratch: Path

    def end(self, within_s: float) -> str:
        """Wait for its end; returns what it printed."""
        printed, _ = self.process.communicate(timeout=within_s)
        return printed

    def read_until(self, pattern: str) -> str:
        """Read its lines up to one in which the pattern is found; returns the first group."""
        assert self.process.stdout
        seen = []
        for line in self.process.stdout:
            seen.append(line)
            if found := re.search(pattern, line):
                return found[1]
        raise AssertionError(f"ended without {pattern!r}:\n{''.join(seen)}")

    def left(self) -> list[str]:
        """Processes and files that are still there. All parts have the scratch folder in their environment."""
        return [*with_setting(f"TMPDIR={self.scratch}"), *map(str, self.scratch.iterdir())]


@contextmanager
def started(scratch: Path, *words: str) -> Iterator[Demo]:
    """A demo on free ports, with a scratch folder by which all it leaves is found; over when the block ends."""
    scratch.mkdir(exist_ok=True)
    command = [sys.executable, "-m", "simulator.demo", "--port", "0", "--phone-port", "0", *words]
    process = subprocess.Popen(
        command,
        cwd=ROOT,
        env={**os.environ, "TMPDIR": str(scratch)},
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    demo = Demo(process, scratch)
    try:
        yield demo
    finally:
        if process.poll() is None:
            process.terminate()
        demo.end(within_s=40)  # also of one that ended by itself: its pipe is closed only when read to the end


def test_the_demo_ends_with_a_right_text_and_leaves_nothing(tmp_path: Path) -> None:
    with started(tmp_path / "demo", "--until-text", "--fault-after-s", str(QUIET_S)) as demo:
        printed = demo.end(within_s=170)
    assert demo.process.returncode == 0, printed
    assert demo.left() == []
    text = re.search(r"^ {4}(House 1 .*)$", printed, re.MULTILINE)
    assert text, printed
    assert "shiitake" in text[1]
    assert "limit 85%" in text[1]
    assert evening.ANSWER in text[1]
    assert (septets(text[1]) or 161) <= 160
    for moment in ("humidifier stopped", "first under 85 %", "text received"):
        assert re.search(rf"{moment} +2026-11-17 \d\d:\d\d:\d\d +20\d\d-\d\d-\d\d \d\d:\d\d:\d\d", printed), (
            printed
        )
    assert "invented data" in printed
    assert "answered HERE" in printed
    assert "20 times as fast" in printed


def test_the_demo_tells_one_person_whose_answer_from_the_phone_ends_it(tmp_path: Path) -> None:
    # The other way of having a broker, tried here although mosquitto may be installed.
    with started(tmp_path / "demo", "--broker", "pip", "--fault-after-s", "0") as demo:
        address = demo.read_until(r"Phones: +(http://\S+)")
        demo.read_until(r"(goes on until you press Ctrl-C)")
        with httpx.Client(base_url=address, trust_env=False) as phones:
            told = texts_about_the_house(phones)
            assert [text["to"] for text in told] == [FIRST.phone]
            answered = phones.post(f"/phones/{FIRST.person_id}/answers", data={"text": evening.ANSWER}).json()
            assert answered["came_back"] == TAKEN
            confirmed = "House 1: you are going"
            until_sync(lambda: texts_saying(phones, confirmed) != [], within_s=20, what="a confirmation")
            assert [text["to"] for text in texts_saying(phones, confirmed)] == [FIRST.phone]
            # Long enough for the next person, had nobody answered.
            enough_ms = told[0]["wall_ms"] + 11 * 60_000 / FACTOR
            until_sync(lambda: wall_now_ms() > enough_ms, within_s=60, what="the wait of the next person")
            assert texts_about_the_house(phones) == told
            assert told[0]["receipt"] == TAKEN
        demo.process.send_signal(signal.SIGINT)
        printed = demo.end(within_s=40)
    assert demo.process.returncode == 0, printed
    assert f"{FIRST.name} answered at" in printed
    assert "nothing is left running" in printed
    assert demo.left() == []


def texts_about_the_house(phones: httpx.Client) -> list[dict[str, Any]]:
    """Texts that ask for an answer about the house, oldest first, as soon as their receipts were given."""

    def found() -> list[dict[str, Any]]:
        return texts_saying(phones, "humidifier")

    until_sync(lambda: bool(found()) and all(text["receipt"] for text in found()), within_s=20, what="receipts")
    return found()


def texts_saying(phones: httpx.Client, words: str) -> list[dict[str, Any]]:
    return [text for text in phones.get("/texts").json() if words in text["text"]]


def test_a_demo_killed_at_once_leaves_nothing_either_and_another_can_run(tmp_path: Path) -> None:
    with started(tmp_path / "demo") as demo:
        demo.read_until(r"(rooms send their last)")
        assert len(demo.left()) > 5
        demo.process.kill()
    until_sync(lambda: demo.left() == [], within_s=40, what="the end of everything")
    with started(tmp_path / "demo") as again:
        again.read_until(r"(rooms send their last)")
        again.process.send_signal(signal.SIGTERM)
        assert "nothing is left running" in again.end(within_s=40)
    assert again.left() == []
