"""Copies of profiles, and their next versions. The rules are our own: there is no outside source to check with."""

from __future__ import annotations

import tomllib

import pytest

from rules.profile import Profile, ProfileError
from rules.profile_copy import OwnName, copied_text, not_read, unchanged_stages, wrongly_sourced
from rules.profile_parser import parse_profile
from tests.house_measures import ROOT

pytestmark = pytest.mark.pure

SHIPPED = sorted((ROOT / "rules" / "profiles").glob("*.toml"))
OWN = OwnName(name="brown_donko", label='Brown "Donko", cold \\ strain')

BEGIN = """\
# What I learned from my supplier.
name = "oyster"
species = "Pleurotus ostreatus"
label = "Oyster"   # as on the label
text_name = "oyster"
version = 3

# Sources.
[sources]
BOOK = "A book, page 12"

[stages.pinning]
text_name = "pins"
usual_days = { from = 3, to = 5, basis = "read", source = "BOOK" }

# Keep it wet.
[stages.pinning.humidity]
unit = "%RH"
low = { value = 95, basis = "read", source = "BOOK", note = "the stricter", others = [
    { value = 90, basis = "read", source = "BOOK" },
] }
high = { value = 99, basis = "judgement" }

[stages.pinning.humidity.text_low]
limit = { value = 80, basis = "judgement" }
far_limit = { value = 70, basis = "judgement" }
far_wait_minutes = 2
wait_minutes = 8
recover_margin = 3
recover_minutes = 5

[stages.rest]
text_name = "rest"

[stages.rest.temperature]
unit = "Cel"
target = { value = 15, basis = "from memory", source = "BOOK" }
"""


def read(text: str, *changes: tuple[str, str]) -> Profile:
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    return parse_profile(text, file="oyster.toml")


# --- copying ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("file", SHIPPED, ids=[file.stem for file in SHIPPED])
def test_every_shipped_profile_can_be_copied_and_only_says_another_name(file: object) -> None:
    text = next(one for one in SHIPPED if one is file).read_text(encoding="utf-8")
    was = parse_profile(text, file="shipped")
    copy = parse_profile(copied_text(text, file="shipped", own=OWN), file="copy")
    assert (copy.name, copy.label, copy.version) == (OWN.name, OWN.label, 1)
    assert copy.copied_from == (was.name, was.version)
    assert (copy.stages, copy.sources, copy.text_name) == (was.stages, was.sources, was.text_name)


def test_a_copy_keeps_every_other_line_and_every_comment() -> None:
    copy = copied_text(BEGIN, file="oyster.toml", own=OwnName(name="pearl", label="Pearl", text_name="pearl"))
    changed = [line for line in copy.splitlines() if line not in BEGIN.splitlines()]
    assert changed == [
        'name = "pearl"',
        'label = "Pearl"',
        'text_name = "pearl"',
        "version = 1",
        'copied_from = { profile = "oyster", version = 3 }',
    ]
    gone = [line for line in BEGIN.splitlines() if line not in copy.splitlines()]
    assert gone == [
        'name = "oyster"',
        'label = "Oyster"   # as on the label',
        'text_name = "oyster"',
        "version = 3",
    ]
    assert 'text_name = "pins"' in copy


def test_a_copy_of_a_copy_says_what_it_was_last() -> None:
    first = copied_text(BEGIN, file="a", own=OwnName(name="pearl", label="Pearl"))
    second = copied_text(first, file="b", own=OwnName(name="grey", label="Grey"))
    assert parse_profile(second, file="c").copied_from == ("pearl", 1)
    assert second.count("copied_from") == 1


@pytest.mark.parametrize(
    "name",
    ["Brown", "brown donko", "", "brown\n", "1st", 'a"b'],
    ids=["capital", "space", "none", "line", "digit", "quote"],
)
def test_a_name_that_is_no_key_is_refused(name: str) -> None:
    with pytest.raises(ProfileError):
        copied_text(BEGIN, file="oyster.toml", own=OwnName(name=name, label="x"))


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('label = "Oyster"', '"label" = "Oyster"'),
        ("version = 3", '"version" = 3'),
        ('text_name = "oyster"\n', 'text_name = "oyster"\nnote = """\nname = "inside"\n"""\n"name" = "oyster"\n'),
    ],
)
def test_a_file_written_in_an_unusual_way_is_refused_rather_than_half_copied(old: str, new: str) -> None:
    text = BEGIN.replace(old, new, 1)
    if '"name" =' in text:
        text = text.replace('name = "oyster"\n', "", 1)
    parse_profile(text, file="oyster.toml")
    with pytest.raises(ProfileError):
        copied_text(text, file="oyster.toml", own=OWN)


def test_what_is_not_a_profile_is_refused_with_its_place() -> None:
    with pytest.raises(ProfileError, match="stage rest: dampness: unknown key"):
        copied_text(BEGIN + "[stages.rest.dampness]\n", file="oyster.toml", own=OWN)
    with pytest.raises(ProfileError, match="stages: is missing"):
        copied_text(BEGIN.partition("# Sources")[0], file="oyster.toml", own=OWN)


@pytest.mark.parametrize(
    ("said", "problem"),
    [
        ('{ profile = "oyster" }', "copied_from.version: is missing"),
        ("{ profile = 3, version = 1 }", "copied_from.profile: must be"),
        ('{ profile = "oyster", version = 1, by = "me" }', "copied_from.by: unknown key"),
        ('"oyster"', "copied_from: must be a table"),
    ],
)
def test_what_a_copy_says_of_its_beginning_is_checked(said: str, problem: str) -> None:
    with pytest.raises(ProfileError, match=problem):
        read(BEGIN, ("version = 3", f"version = 3\ncopied_from = {said}"))


# --- the next version ---------------------------------------------------------------------------------------


def test_a_stage_that_says_the_same_is_unchanged() -> None:
    before = read(BEGIN)
    assert unchanged_stages(before, before) == ("pinning", "rest")
    assert unchanged_stages(before, read(BEGIN, ("value = 80", "value = 81"))) == ("rest",)
    assert unchanged_stages(
        before, read(BEGIN, ("[stages.rest]", "[stages.repose]"), ("stages.rest.", "stages.repose."))
    ) == ("pinning",)


def test_a_source_that_says_something_else_changes_the_stages_that_name_it() -> None:
    before, after = read(BEGIN), read(BEGIN, ("A book, page 12", "A book, page 13"))
    assert unchanged_stages(before, after) == ()
    only_rest = (
        "[stages.rest]",
        (
            '[stages.cool]\ntext_name = "cool"\n[stages.cool.co2]\nunit = "ppm"\n'
            'high = { value = 900, basis = "judgement" }\n\n[stages.rest]'
        ),
    )
    assert unchanged_stages(read(BEGIN, only_rest), read(BEGIN, only_rest, ("page 12", "page 13"))) == ("cool",)


def test_an_edited_figure_does_not_keep_the_source_of_the_old_one() -> None:
    edited = read(BEGIN, ("low = { value = 95", "low = { value = 92"), ("value = 15", "value = 16"))
    assert wrongly_sourced(read(BEGIN), edited) == (
        "stage pinning: humidity.low: BOOK says 90 and 95 in oyster version 3, not 92",
        "stage rest: temperature.target: BOOK says 15 in oyster version 3, not 16",
    )


@pytest.mark.parametrize(
    "change",
    [
        ("low = { value = 95", "low = { value = 90"),
        ("high = { value = 99", "high = { value = 98"),
        ("[stages.rest]", "[stages.repose]"),
        ('BOOK = "A book, page 12"', 'BOOK = "Another book"'),
        ('high = { value = 99, basis = "judgement" }', 'target = { value = 95, basis = "read", source = "BOOK" }'),
    ],
    ids=["another value of the source", "a judgement", "a new stage", "another source", "where it said nothing"],
)
def test_what_may_be_edited_is_not_held_against_anybody(change: tuple[str, str]) -> None:
    changes = [change, *([("stages.rest.", "stages.repose.")] if "repose" in change[1] else [])]
    if change[0].startswith("BOOK"):
        changes.append(("value = 15", "value = 16"))
    assert wrongly_sourced(read(BEGIN), read(BEGIN, *changes)) == ()


def test_edges_that_were_not_read_are_listed_and_targets_are_not() -> None:
    pinning, rest = read(BEGIN).stages
    assert not_read(pinning) == ("humidity.high 99 (judgement)",)
    assert not_read(rest) == ()
    assert tomllib.loads(BEGIN)["version"] == 3
