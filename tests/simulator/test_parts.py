"""The demo's programs: started apart, and gone however the demo ends. Real processes, real signals."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from simulator import keeper
from simulator.parts import ROOT, DemoError, Parts, Stopped, environment
from tests.support.processes import runs
from tests.support.waiting import until_sync

WAIT = "import threading; threading.Event().wait()"
FAMILY = f"import subprocess, sys; subprocess.Popen([sys.executable, '-c', '{WAIT}']).wait()"
STUBBORN = f"import signal; signal.signal(signal.SIGTERM, signal.SIG_IGN); print('deaf', flush=True); {WAIT}"
DEMO = f"""
import sys, threading
from simulator.parts import Parts
with Parts(threading.Event()) as parts:
    part = parts.start("family", [sys.executable, "-c", {FAMILY!r}])
    print(part.process.pid, parts.folder, flush=True)
    threading.Event().wait()
"""


def members(group: int) -> list[int]:
    """The running processes of a group."""
    listed = subprocess.run(["ps", "-eo", "pid=,pgid="], check=True, capture_output=True, text=True).stdout
    rows = (line.split() for line in listed.splitlines())
    return [int(pid) for pid, pgid in rows if int(pgid) == group and runs(int(pid))]


def test_leaving_ends_children_and_grandchildren_and_removes_the_folder() -> None:
    with Parts(threading.Event()) as parts:
        part = parts.start("family", [sys.executable, "-c", FAMILY])
        until_sync(lambda: len(members(part.process.pid)) == 2, within_s=10, what="child and grandchild")
        family = members(part.process.pid)
    assert not any(runs(pid) for pid in family)
    assert not parts.folder.exists()


def test_parts_are_out_of_reach_of_a_ctrl_c_at_the_terminal() -> None:
    with Parts(threading.Event()) as parts:
        part = parts.start("wait", [sys.executable, "-c", WAIT])
        assert os.getpgid(part.process.pid) == part.process.pid != os.getpgid(0)


def test_parts_end_when_the_demo_is_killed_without_a_chance_to_answer() -> None:
    demo = subprocess.Popen([sys.executable, "-c", DEMO], cwd=ROOT, stdout=subprocess.PIPE, text=True)
    assert demo.stdout
    pid, folder = demo.stdout.readline().split()
    until_sync(lambda: len(members(int(pid))) == 2, within_s=10, what="child and grandchild")
    family = members(int(pid))
    demo.kill()
    demo.wait()
    demo.stdout.close()
    until_sync(lambda: not any(runs(one) for one in family), within_s=10, what="the end of the parts")
    until_sync(lambda: not Path(folder).exists(), within_s=10, what="the end of the folder")


def test_a_demo_whose_keeper_is_gone_ends_its_parts_itself() -> None:
    with Parts(threading.Event()) as parts:
        part = parts.start("wait", [sys.executable, "-c", WAIT])
        parts._keeper.kill()
        parts._keeper.wait()
    assert not runs(part.process.pid)
    assert not parts.folder.exists()


def test_a_part_that_will_not_leave_is_killed() -> None:
    stubborn = subprocess.Popen(
        [sys.executable, "-c", STUBBORN], stdout=subprocess.PIPE, text=True, start_new_session=True
    )
    assert stubborn.stdout
    assert stubborn.stdout.readline() == "deaf\n"
    keeper.end_groups([stubborn.pid], leave_s=0.2)
    assert stubborn.wait(timeout=5) == -signal.SIGKILL
    stubborn.stdout.close()


def test_a_part_that_ends_by_itself_is_named_with_its_last_words() -> None:
    with Parts(threading.Event()) as parts:
        parts.start("broker", [sys.executable, "-c", "print('port is taken'); raise SystemExit(3)"])
        with pytest.raises(DemoError, match=r"(?s)the broker ended by itself \(exit 3\).*port is taken"):
            parts.wait_for(lambda: None, within_s=10, what="anything")


def test_waiting_ends_with_what_was_seen_or_says_what_did_not_come() -> None:
    with Parts(threading.Event()) as parts:
        assert parts.wait_for(lambda: 7, within_s=1, what="seven") == 7
        with pytest.raises(DemoError, match=r"a text: not within 0\.1 s"):
            parts.wait_for(lambda: None, within_s=0.1, what="a text")


def test_waiting_ends_when_somebody_asks_the_demo_to_stop() -> None:
    stop = threading.Event()
    with Parts(stop) as parts:
        stop.set()
        with pytest.raises(Stopped):
            parts.wait_for(lambda: None, within_s=10, what="anything")


def test_parts_read_no_settings_of_whoever_starts_the_demo(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HOUSEBAND_CONFIG", "mine.toml")
    monkeypatch.setenv("HTTP_PROXY", "http://127.0.0.1:1")
    found = environment({"HOUSEBAND_FARM": "lanternfold"})
    assert {name: value for name, value in found.items() if name.startswith("HOUSEBAND_")} == {
        "HOUSEBAND_FARM": "lanternfold"
    }
    assert found["NO_PROXY"] == "*"
