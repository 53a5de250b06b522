"""The profile file format: what is read, and how every fault is named by file, stage and key."""

from __future__ import annotations

import pytest

from rules.model import Quantity, Side
from rules.profile import Basis, Fast, Figure, ProfileError
from rules.profile_limits import probe_accuracy
from rules.profile_parser import parse_profile
from rules.profile_table import BASIC_TEXT_ALPHABET

pytestmark = pytest.mark.pure

WHOLE = """
name = "test_crop"
species = "Fungus fictus"
label = "Test crop"
text_name = "testcrop"
version = 3
note = "invented data"

[sources]
BOOK = "A. Author, A Title (1999), page 7"

[stages.pinning]
text_name = "pins"
usual_days = { from = 5, to = 7, basis = "read", source = "BOOK", note = "cool strains" }
note = "tender"
ramp_minutes = 90
above_people_limit = true

[stages.pinning.humidity]
unit = "%RH"
low = { value = 90, basis = "read", source = "BOOK" }
target = { value = 93.5, basis = "judgement", note = "between" }
high = { value = 98, basis = "from memory", source = "BOOK" }

[stages.pinning.humidity.text_low]
limit = { value = 82, basis = "judgement" }
wait_minutes = 8
recover_margin = 3
recover_minutes = 2.5
far_limit = { value = 72, basis = "common practice" }
far_wait_minutes = 3
below_usual = 12
fast = { change = 8, within_minutes = 15, wait_minutes = 4 }

[stages.pinning.temperature]
unit = "Cel"
low = { value = 12, basis = "read", source = "BOOK", note = "the stricter", others = [
    { value = 10, basis = "from memory", source = "BOOK", note = "cold strains" },
    { value = 8, basis = "common practice" },
] }

[stages.pinning.co2]
unit = "ppm"
high = { value = 1000, basis = "common practice" }

[stages.pinning.co2.text_high]
limit = { value = 1500, basis = "judgement" }
wait_minutes = 20
recover_margin = 150
recover_minutes = 10

[stages.soak]
text_name = "soak"
usual_hours = { from = 6, to = 12, basis = "common practice" }

[stages.soak.soak_water]
unit = "Cel"
high = { value = 16, basis = "judgement" }
"""


def test_a_whole_file_becomes_a_profile() -> None:
    profile = parse_profile(WHOLE, file="crop.toml")
    assert (profile.name, profile.species, profile.label) == ("test_crop", "Fungus fictus", "Test crop")
    assert (profile.text_name, profile.version, profile.note) == ("testcrop", 3, "invented data")
    assert profile.sources == {"BOOK": "A. Author, A Title (1999), page 7"}
    assert [stage.name for stage in profile.stages] == ["pinning", "soak"]


def test_a_stage_keeps_its_band_with_source_and_basis_of_every_figure() -> None:
    stage = parse_profile(WHOLE, file="crop.toml").stage("pinning")
    band = stage.bands[Quantity.HUMIDITY]
    assert (stage.text_name, stage.note) == ("pins", "tender")
    assert band.low == Figure(value=90.0, basis=Basis.READ, source="BOOK")
    assert band.target == Figure(value=93.5, basis=Basis.JUDGEMENT, source="", note="between")
    assert band.high == Figure(value=98.0, basis=Basis.FROM_MEMORY, source="BOOK")
    assert stage.bands[Quantity.CO2].low is None


def test_a_figure_keeps_what_other_sources_say() -> None:
    low = parse_profile(WHOLE, file="crop.toml").stage("pinning").bands[Quantity.TEMPERATURE].low
    assert low is not None
    assert low.note == "the stricter"
    assert low.others == (
        Figure(value=10.0, basis=Basis.FROM_MEMORY, source="BOOK", note="cold strains"),
        Figure(value=8.0, basis=Basis.COMMON_PRACTICE, source=""),
    )


def test_a_stage_says_how_long_its_room_needs_and_whether_to_air_it_out_first() -> None:
    pinning, soak = parse_profile(WHOLE, file="crop.toml").stages
    assert (pinning.ramp_ms, pinning.above_people_limit) == (5_400_000, True)
    assert (soak.ramp_ms, soak.above_people_limit) == (0, False)


def test_a_limit_may_also_speak_below_what_is_usual_and_sooner_when_it_comes_fast() -> None:
    limits = parse_profile(WHOLE, file="crop.toml").stage("pinning").text_limits
    low, high = limits[Quantity.HUMIDITY, Side.LOW], limits[Quantity.CO2, Side.HIGH]
    assert (low.below_usual, low.fast) == (12.0, Fast(change=8.0, within_ms=900_000, wait_ms=240_000))
    assert (high.below_usual, high.fast) == (None, None)


def test_minutes_become_milliseconds_and_the_far_limit_is_optional() -> None:
    limits = parse_profile(WHOLE, file="crop.toml").stage("pinning").text_limits
    low = limits[Quantity.HUMIDITY, Side.LOW]
    assert (low.limit.value, low.wait_ms, low.recover_margin, low.recover_ms) == (82, 480_000, 3.0, 150_000)
    assert low.far_limit is not None
    assert (low.far_limit.value, low.far_wait_ms) == (72.0, 180_000)
    high = limits[Quantity.CO2, Side.HIGH]
    assert (high.far_limit, high.far_wait_ms) == (None, None)
    assert set(limits) == {(Quantity.HUMIDITY, Side.LOW), (Quantity.CO2, Side.HIGH)}


def test_usual_days_may_be_given_in_hours_and_keep_their_source() -> None:
    profile = parse_profile(WHOLE, file="crop.toml")
    pinning, soak = profile.stages
    assert pinning.usual_days == (5.0, 7.0)
    assert pinning.usual_days_from == Figure(value=5.0, basis=Basis.READ, source="BOOK", note="cool strains")
    assert soak.usual_days == (0.25, 0.5)


def test_a_stage_counts_as_read_only_when_every_band_edge_was() -> None:
    pinning = parse_profile(WHOLE, file="crop.toml").stage("pinning")
    assert not pinning.all_read
    read = WHOLE.replace('"from memory"', '"read"').replace(
        'high = { value = 1000, basis = "common practice" }',
        'high = { value = 1000, basis = "read", source = "BOOK" }',
    )
    assert parse_profile(read, file="crop.toml").stage("pinning").all_read


def test_an_unknown_stage_is_refused_with_those_there_are() -> None:
    with pytest.raises(KeyError, match="has no stage 'rest'; it has pinning, soak"):
        parse_profile(WHOLE, file="crop.toml").stage("rest")


def test_sources_may_be_absent_when_nothing_needs_one() -> None:
    text = """
        name = "plain"
        species = "Fungus fictus"
        label = "Plain"
        text_name = "plain"
        version = 1
        [stages.rest]
        text_name = "rest"
        [stages.rest.light]
        unit = "lx"
        high = { value = 500, basis = "common practice" }
        [stages.rest.light.text_high]
        limit = { value = 600, basis = "judgement" }
        wait_minutes = 10
        recover_margin = 50
        recover_minutes = 5
    """
    assert parse_profile(text, file="plain.toml").sources == {}


TEMPERATURE = "temperature"
TEXT_LOW = "humidity.text_low"

FAULTS = [
    # what to replace, by what, the stage and key that must be named, and part of the message
    pytest.param("version = 3", "version = 3\ncolour = 1", "", "colour", "unknown key", id="unknown key"),
    pytest.param("note =", "remark =", "", "remark", "unknown key", id="unknown key at the top"),
    pytest.param('name = "test_crop"', "", "", "name", "is missing", id="no name"),
    pytest.param('"test_crop"', '"Test Crop"', "", "name", "small letters", id="name is not a key"),
    pytest.param('"Fungus fictus"', '" "', "", "species", "not empty", id="empty text"),
    pytest.param('"Fungus fictus"', "7", "", "species", "text in quotes", id="a number for text"),
    pytest.param("version = 3", "version = 0", "", "version", "above zero", id="version below one"),
    pytest.param("version = 3", "version = 1.5", "", "version", "whole number", id="half a version"),
    pytest.param("version = 3", "version = true", "", "version", "finite number", id="true is no number"),
    pytest.param('"testcrop"', '"test crop xl"', "", "text_name", "at most 10", id="text name too long"),
    pytest.param('"testcrop"', '"crop "', "", "text_name", "no space", id="text name ends in a space"),
    pytest.param('"testcrop"', '"chataîgne"', "", "text_name", "'\\xee' is not in the basic", id="not GSM-7"),
    pytest.param('"pins"', '"pins€"', "pinning", "text_name", "GSM 7-bit", id="stage not GSM-7"),
    pytest.param('"pins"', '"very long pins"', "pinning", "text_name", "at most 10",
                 id="stage name too long"),
    pytest.param('text_name = "pins"', "", "pinning", "text_name", "is missing", id="no stage text name"),
    pytest.param('"soak"', '"pins"', "soak", "text_name", "name of another stage",
                 id="same stage name twice"),
    pytest.param("[stages.soak]", "[stages.pinning]", "", "", "pinning", id="same stage twice"),
    pytest.param("stages.soak", "stages.Soak", "Soak", "", "must be a key", id="stage is not a key"),
    pytest.param("pinning.humidity", "pinning.humidty", "pinning", "humidty", "a quantity: ",
                 id="unknown quantity"),
    pytest.param("soak.soak_water", "soak.door", "soak", "door", "on or off", id="a contact has no band"),
    pytest.param('unit = "Cel"', 'unit = "degF"', "pinning", "temperature.unit", "must be 'Cel'",
                 id="Fahrenheit"),
    pytest.param('unit = "ppm"', "", "pinning", "co2.unit", "is missing", id="no unit"),
    pytest.param('unit = "ppm"', 'unit = "ppm"\nlo = 1', "pinning", "co2.lo", "unknown key",
                 id="unknown edge"),
    pytest.param('value = 90, basis = "read", source = "BOOK"', 'value = 90, basis = "read"', "pinning",
                 "humidity.low.source", "is missing", id="read without source"),
    pytest.param('source = "BOOK" }\ntarget', 'source = "NOTE" }\ntarget', "pinning", "humidity.low.source",
                 "'NOTE' does not stand under [sources]", id="unknown source"),
    pytest.param('note = "between"', 'source = "BOOK"', "pinning", "humidity.target.source",
                 "judgement has no source", id="a judgement with a source"),
    pytest.param('"from memory"', '"hearsay"', "pinning", "humidity.high.basis", "must be one of: read",
                 id="unknown basis"),
    pytest.param('basis = "from memory", ', "", "pinning", "humidity.high.basis", "is missing",
                 id="no basis"),
    pytest.param("value = 90", 'value = "90"', "pinning", "humidity.low.value", "finite number",
                 id="text for number"),
    pytest.param("value = 90", "value = nan", "pinning", "humidity.low.value", "finite number", id="nan"),
    pytest.param("value = 90", "value = -inf", "pinning", "humidity.low.value", "finite number", id="inf"),
    pytest.param("value = 90", f"value = 1{'0' * 400}", "pinning", "humidity.low.value", "finite number",
                 id="a number too long for a float"),
    pytest.param("value = 90,", "value = 90, min = 3,", "pinning", "humidity.low.min", "unknown key",
                 id="unknown key in a figure"),
    pytest.param('{ value = 90, basis = "read", source = "BOOK" }', "90", "pinning", "humidity.low",
                 "must be a table", id="a bare figure"),
    pytest.param("value = 90", "value = 99", "pinning", "humidity.low", "not below high",
                 id="band upside down"),
    pytest.param("value = 93.5", "value = 89", "pinning", "humidity.target", "outside the band",
                 id="target low"),
    pytest.param("value = 93.5", "value = 99", "pinning", "humidity.target", "outside the band",
                 id="target high"),
    pytest.param("value = 98", "value = 101", "pinning", "humidity.high", "impossible", id="101 %RH"),
    pytest.param('high = { value = 16, basis = "judgement" }', "", "soak", "soak_water", "at least one of",
                 id="a band of nothing"),
    pytest.param("[stages.soak.soak_water]", "", "soak", "unit", "unknown key",
                 id="a quantity's header lost"),
    pytest.param("value = 82", "value = 85.5", "pinning", f"{TEXT_LOW}.limit", "at least 5",
                 id="limit near the edge"),
    pytest.param("value = 82", "value = 95", "pinning", f"{TEXT_LOW}.limit", "at least 5", id="limit inside"),
    pytest.param("value = 82", "value = -3", "pinning", f"{TEXT_LOW}.limit", "impossible",
                 id="limit below zero"),
    pytest.param("value = 1500", "value = 1249", "pinning", "co2.text_high.limit", "at least 250",
                 id="CO2 near"),
    pytest.param("humidity.text_low", "co2.text_low", "pinning", "co2.text_low.limit", "no low edge",
                 id="a limit for an edge that is not there"),
    pytest.param("value = 72", "value = 82", "pinning", f"{TEXT_LOW}.far_limit", "not beyond",
                 id="far equals limit"),
    pytest.param("value = 72", "value = 99", "pinning", f"{TEXT_LOW}.far_limit", "not beyond",
                 id="far on wrong side"),
    pytest.param("value = 72", "value = -72", "pinning", f"{TEXT_LOW}.far_limit", "impossible",
                 id="far impossible"),
    pytest.param("far_wait_minutes = 3", "far_wait_minutes = 8", "pinning", f"{TEXT_LOW}.far_wait_minutes",
                 "shorter than", id="far waits as long"),
    pytest.param("far_wait_minutes = 3", "", "pinning", f"{TEXT_LOW}.far_wait_minutes",
                 "missing beside far_limit",
                 id="far limit without wait"),
    pytest.param('far_limit = { value = 72, basis = "common practice" }', "", "pinning",
                 f"{TEXT_LOW}.far_limit",
                 "missing beside far_wait_minutes", id="far wait without limit"),
    pytest.param("\nwait_minutes = 8", "\nwait_minutes = 0", "pinning", f"{TEXT_LOW}.wait_minutes",
                 "above zero",
                 id="no wait"),
    pytest.param("\nwait_minutes = 8", "\nwait_minutes = -8", "pinning", f"{TEXT_LOW}.wait_minutes",
                 "above zero",
                 id="negative wait"),
    pytest.param("\nwait_minutes = 8", "\nwait_seconds = 480", "pinning", f"{TEXT_LOW}.wait_seconds",
                 "unknown key",
                 id="wait in another unit"),
    pytest.param("recover_margin = 3", "recover_margin = 0", "pinning", f"{TEXT_LOW}.recover_margin",
                 "above zero",
                 id="no margin"),
    pytest.param("recover_minutes = 2.5", "", "pinning", f"{TEXT_LOW}.recover_minutes", "is missing",
                 id="no recover time"),
    pytest.param("from = 5", "from = 8", "pinning", "usual_days.from", "longer than to",
                 id="days upside down"),
    pytest.param("to = 7", "till = 7", "pinning", "usual_days.till", "unknown key", id="unknown key in days"),
    pytest.param("usual_hours", "usual_days = { from = 1, to = 2, basis = 'judgement' }\nusual_hours", "soak",
                 "usual_hours", "one of the two", id="days and hours"),
    pytest.param("ramp_minutes = 90", "ramp_minutes = 241", "pinning", "ramp_minutes", "from 0 to 240",
                 id="a ramp without end"),
    pytest.param("ramp_minutes = 90", "ramp_minutes = -1", "pinning", "ramp_minutes", "from 0 to 240",
                 id="a ramp before the stage"),
    pytest.param("above_people_limit = true", 'above_people_limit = "yes"', "pinning", "above_people_limit",
                 "true or false", id="yes is not true"),
    pytest.param("below_usual = 12", "below_usual = 4.5", "pinning", f"{TEXT_LOW}.below_usual", "at least 5",
                 id="usual is too near"),
    pytest.param("recover_margin = 150", "recover_margin = 150\nbelow_usual = 12", "pinning",
                 "co2.text_high.below_usual", "only for low humidity", id="usual CO2"),
    pytest.param("change = 8", "change = 2", "pinning", f"{TEXT_LOW}.fast.change", "above 2",
                 id="fast is what a probe is off"),
    pytest.param("within_minutes = 15", "within_minutes = 0", "pinning", f"{TEXT_LOW}.fast.within_minutes",
                 "above zero", id="fast within no time"),
    pytest.param("within_minutes = 15", "within_minutes = 0.0001", "pinning", f"{TEXT_LOW}.fast.within_minutes",
                 "at least 1", id="fast within less than any probe can tell"),
    pytest.param("wait_minutes = 4 }", "wait_minutes = 8 }", "pinning", f"{TEXT_LOW}.fast.wait_minutes",
                 "shorter than", id="fast is as slow"),
    pytest.param("change = 8", "by = 8", "pinning", f"{TEXT_LOW}.fast.by", "unknown key",
                 id="unknown key in fast"),
    pytest.param('note = "the stricter", ', "", "pinning", f"{TEMPERATURE}.low.note", "why this figure",
                 id="a choice without a reason"),
    pytest.param('source = "BOOK", note = "cold', 'source = "X", note = "cold', "pinning",
                 f"{TEMPERATURE}.low.others[1].source", "does not stand", id="another figure's source"),
    pytest.param("value = 8, ", "value = 8, others = [], ", "pinning", f"{TEMPERATURE}.low.others[2].others",
                 "unknown key", id="others of others"),
    pytest.param('{ value = 8, basis = "common practice" }', "80", "pinning", f"{TEMPERATURE}.low.others",
                 "list of tables", id="another figure without basis"),
    pytest.param('BOOK = "A. Author', 'BOOK = ["A. Author"]\nX = "A. Author', "", "sources.BOOK",
                 "text in quotes",
                 id="a source that is not text"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "stage", "key", "says"), FAULTS)
def test_a_fault_names_file_stage_and_key(old: str, new: str, stage: str, key: str, says: str) -> None:
    assert old in WHOLE
    with pytest.raises(ProfileError) as caught:
        parse_profile(WHOLE.replace(old, new), file="crop.toml")
    error = caught.value
    assert (error.file, error.stage, error.key) == ("crop.toml", stage, key)
    for part in ("crop.toml", stage, key, says):
        assert part in str(error)


def test_the_message_reads_as_file_stage_key_and_problem() -> None:
    with pytest.raises(ProfileError) as caught:
        parse_profile(WHOLE.replace("value = 82", "value = 87"), file="crop.toml")
    assert str(caught.value) == (
        "crop.toml: stage pinning: humidity.text_low.limit: 87 is 3 outside the band's low edge 90; "
        "it must be at least 5 (probe accuracy plus recover margin)"
    )


@pytest.mark.parametrize(
    "text", ["stages = 3", "[stages]", "[stages]\npinning = 1", "[stages.pinning]\ntext_name='p'"]
)
def test_a_file_without_a_stage_that_holds_something_is_refused(text: str) -> None:
    head = WHOLE.partition("[sources]")[0]
    with pytest.raises(ProfileError, match="stage"):
        parse_profile(f"{head}\n{text}", file="crop.toml")


@pytest.mark.parametrize("text", ["", "name = ", "\x00", "a = " + "[" * 100_000, "a = " + "9" * 5000])
def test_what_is_no_profile_at_all_is_refused_with_the_file_name(text: str) -> None:
    with pytest.raises(ProfileError, match=r"^crop\.toml: "):
        parse_profile(text, file="crop.toml")


def test_probe_accuracy_is_that_of_ordinary_probes() -> None:
    """Common practice for ordinary probes: 2 points, 0.5 degC, 50 ppm plus 5 %."""
    assert probe_accuracy(Quantity.HUMIDITY, 90) == 2.0
    assert probe_accuracy(Quantity.TEMPERATURE, 15) == 0.5
    assert probe_accuracy(Quantity.SOAK_WATER, 12) == 0.5
    assert probe_accuracy(Quantity.CO2, 1000) == 100.0
    assert probe_accuracy(Quantity.LIGHT, 500) == 0.0


def test_the_basic_text_alphabet_holds_what_the_standard_holds() -> None:
    """3GPP TS 23.038, 6.2.1: 128 positions less LF, CR and escape; the accents it has and lacks."""
    assert len(BASIC_TEXT_ALPHABET) == 125
    assert set("ñÑéàùìòöäüß£¥§") <= BASIC_TEXT_ALPHABET
    assert not set("áíóúçâ€[]{}\\^~|\n") & BASIC_TEXT_ALPHABET
