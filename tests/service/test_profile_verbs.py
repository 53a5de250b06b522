"""``houseband profile copy``, ``check`` and ``add`` at a terminal. The rules are our own: no outside source."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import TypeAlias

import pytest

from service.__main__ import main

ODD = """\
name = "odd"
species = "Odd species"
label = "Odd"
text_name = "odd"
version = 2

[stages.pinning]
text_name = "pins"
ramp_minutes = 90
above_people_limit = true

[stages.pinning.co2]
unit = "ppm"
low = { value = 5000, basis = "judgement" }

[stages.pinning.humidity]
unit = "%RH"
target = { value = 95, basis = "judgement" }

[stages.rest]
text_name = "rest"

[stages.rest.humidity]
unit = "%RH"
low = { value = 80, basis = "judgement" }

[stages.rest.humidity.text_low]
limit = { value = 70, basis = "judgement" }
wait_minutes = 10
recover_margin = 3
recover_minutes = 5
below_usual = 12
fast = { change = 18, within_minutes = 15, wait_minutes = 4 }"""

Run: TypeAlias = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    """Run ``houseband profile`` in a folder of its own; return its exit code, what it printed, and its errors."""
    monkeypatch.chdir(tmp_path)

    def profile(*words: str) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["houseband", "profile", *words])
        with pytest.raises(SystemExit) as ended:
            main()
        said = capsys.readouterr()
        return int(ended.value.code or 0), said.out, said.err

    return profile


def edit(file: Path, old: str, new: str) -> None:
    text = file.read_text(encoding="utf-8")
    assert old in text
    file.write_text(text.replace(old, new, 1), encoding="utf-8")


def test_a_copy_is_printed_or_written_to_a_file_that_is_not_there_yet(run: Run, tmp_path: Path) -> None:
    code, printed, _ = run("copy", "shiitake", "brown", "--strain", "3782")
    assert code == 0
    assert 'label = "Shiitake, 3782"' in printed

    code, said, _ = run("copy", "shiitake", "brown", "--strain", "3782", "--to", "brown.toml")
    assert code == 0
    assert "houseband profile check brown.toml" in said
    assert (tmp_path / "brown.toml").read_text(encoding="utf-8") == printed

    edit(tmp_path / "brown.toml", "3782", "mine")
    code, _, error = run("copy", "shiitake", "brown", "--to", "brown.toml")
    assert (code, "exists" in error) == (1, True)
    assert "mine" in (tmp_path / "brown.toml").read_text(encoding="utf-8"), "what was edited is not lost"


def test_a_label_and_a_name_in_texts_may_be_given(run: Run) -> None:
    _, printed, _ = run("copy", "shiitake", "brown", "--label", "Brown caps", "--text-name", "brown")
    assert 'label = "Brown caps"' in printed
    assert '\ntext_name = "brown"' in printed


@pytest.mark.parametrize(
    ("words", "error"),
    [
        (("truffle", "mine"), "no profile 'truffle' ships; there are beech, "),
        (("shiitake", "Brown caps"), "must be a key: small letters"),
        (("shiitake", "brown", "--text-name", "far too long a name"), "text_name: must be at most 10"),
    ],
)
def test_what_cannot_be_copied_says_why(run: Run, words: tuple[str, ...], error: str) -> None:
    code, out, said = run("copy", *words)
    assert (code, out) == (1, "")
    assert error in said


def test_checking_says_what_was_read_and_what_waits_to_be_confirmed(run: Run, tmp_path: Path) -> None:
    """Of the shipped shiitake; soaking is 8 to 12 hours, browning four weeks."""
    run("copy", "shiitake", "brown", "--to", "brown.toml")
    code, said, _ = run("check", "brown.toml")
    assert code == 0
    lines = said.splitlines()
    assert lines[0] == "brown version 1: Shiitake, brown (Lentinula edodes), copied from shiitake version 1"
    stages = {part.split(",")[0]: part for part in said.split("\n\n")[1:]}
    assert 'soak, "soak" in texts, usually 8 to 12 hours' in stages["soak"]
    assert "usually 28 days" in stages["browning"]
    assert "  humidity: 95 to 100 %RH, aim 97" in stages["pinning"]
    assert "    texts below 85 %RH after 8 min" in stages["pinning"]
    assert "wakes nobody" not in stages["pinning"]
    assert "not read in a source: humidity.low 80 (judgement)" in stages["fruiting"]
    assert "wakes nobody until a named person confirms these figures" in stages["fruiting"]


def test_checking_says_what_is_special_of_a_stage(run: Run, tmp_path: Path) -> None:
    (tmp_path / "odd.toml").write_text(ODD, encoding="utf-8")
    code, said, _ = run("check", "odd.toml")
    assert code == 0
    assert said.splitlines() == [
        "odd version 2: Odd (Odd species)",
        "",
        'pinning, "pins" in texts',
        "  co2: from 5000 ppm",
        "  humidity: aim 95 %RH",
        "  no text limits: this stage is only shown",
        "  limits are held back for 90 min after the stage begins",
        "  CO2 is kept above the limit for people on purpose: air out before entry",
        "  not read in a source: co2.low 5000 (judgement)",
        "  wakes nobody until a named person confirms these figures",
        "",
        'rest, "rest" in texts',
        "  humidity: from 80 %RH",
        "    texts below 70 %RH after 10 min; back once at 73 for 5 min",
        "    also texts 12 below what the room usually shows at that hour",
        "    waits only 4 min when it moved by 18 within 15 min",
        "  not read in a source: humidity.low 80 (judgement)",
        "  wakes nobody until a named person confirms these figures",
    ]


def test_what_is_wrong_with_a_file_is_named_by_file_stage_and_key(run: Run, tmp_path: Path) -> None:
    run("copy", "shiitake", "brown", "--to", "brown.toml")
    edit(tmp_path / "brown.toml", "wait_minutes = ", "wait_minuets = ")
    code, out, error = run("check", "brown.toml")
    assert (code, out) == (1, "")
    assert error.startswith("brown.toml: stage incubation: temperature.text_low.wait_minuets: unknown key")
    (tmp_path / "brown.toml").write_bytes(b"\xff\xfe")
    assert run("check", "brown.toml")[2] == "brown.toml: is not UTF-8 text\n"


def test_a_changed_figure_that_names_the_old_source_is_refused_before_it_is_added(
    run: Run, tmp_path: Path
) -> None:
    """Of the shipped shiitake: S08 reads 95 to 100 %RH for pinning. Adding says the same."""
    run("copy", "shiitake", "brown", "--to", "brown.toml")
    edit(tmp_path / "brown.toml", 'low = { value = 95, basis = "read"', 'low = { value = 92, basis = "read"')
    code, out, error = run("check", "brown.toml")
    assert (code, out) == (1, "")
    assert error.startswith("brown.toml: stage pinning: humidity.low: S08 says 95 and 100 in shiitake version 1")
    assert run("add", "brown.toml", "--who", "Maria")[2] == error
    edit(tmp_path / "brown.toml", "version = 1\n", "version = 2\n")
    assert run("check", "brown.toml")[0] == 0, "held against the version before it, which only the farm knows"


def test_a_file_is_added_and_every_step_says_what_came_of_it(run: Run, tmp_path: Path) -> None:
    run("copy", "shiitake", "brown", "--to", "brown.toml")
    code, said, _ = run("add", "brown.toml", "--who", "Maria")
    assert code == 0
    assert said.splitlines()[0] == "brown version 1 is added."
    assert "wake nobody until somebody confirms their figures: incubation, browning, " in said
    assert "pinning" not in said, "all of its band was read"

    code, said, _ = run("add", "brown.toml", "--who", "Ben")
    assert (code, said.splitlines()[0]) == (0, "brown version 1 is there already, word for word.")

    edit(tmp_path / "brown.toml", "wait_minutes = 30", "wait_minutes = 40")
    code, out, error = run("add", "brown.toml", "--who", "Ben")
    assert (code, out) == (1, "")
    assert "'brown' version 1 is there already, with other content" in error

    edit(tmp_path / "brown.toml", "version = 1\n", "version = 2\n")
    assert run("add", "brown.toml", "--who", "Ben")[1].startswith("brown version 2 is added.")
    assert run("add", "brown.toml", "--who", " ")[2] == "--who must not be blank\n"
