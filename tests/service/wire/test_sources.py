from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from paho.mqtt.client import topic_matches_sub

from service.errors import SetupError
from service.wire.sources import SourcesError, TimeForm, parse_sources

pytestmark = pytest.mark.pure

TEMPERATURE = '{ quantity = "temperature", at = "/t", unit = "degF" }'
DOOR = '{ quantity = "door", at = "/open" }'


def text(**changed: str) -> str:
    keys = {"name": '"a"', "topic": '"hall/{probe}/state"', "value": f"[{TEMPERATURE}, {DOOR}]", **changed}
    return "[[source]]\n" + "".join(f"{key} = {value}\n" for key, value in keys.items() if value)


def test_a_source_says_where_everything_stands() -> None:
    (source,) = parse_sources(text(time='{ at = "/ts", form = "iso-8601" }'), file="s.toml")
    assert (source.name, source.topic, source.probe) == ("a", "hall/{probe}/state", None)
    assert source.time is not None
    assert (source.time.at, source.time.form) == ("/ts", TimeForm.ISO_8601)
    assert [(value.quantity, value.at, value.unit) for value in source.values] == [
        ("temperature", "/t", "degF"),
        ("door", "/open", None),
    ]


@pytest.mark.parametrize(
    ("changed", "key"),
    [
        ({"name": ""}, "source[0].name"),
        ({"name": "7"}, "source[0].name"),
        ({"nmae": '"a"'}, "source[0].nmae"),
        ({"topic": '"hall/+/state"'}, "source[0].topic"),
        ({"topic": '"hall/{probe}/#"'}, "source[0].topic"),
        ({"topic": '""'}, "source[0].topic"),
        ({"topic": '"hall/x{probe}"'}, "source[0].topic"),
        ({"topic": '"{probe}/{probe}"'}, "source[0].topic"),
        ({"topic": '"hall/{room}/{probe}"'}, "source[0].topic"),
        ({"topic": '"hall/state"'}, "source[0].probe"),
        ({"topic": '"hall/state"', "probe": '"_x"'}, "source[0].probe"),
        ({"probe": '"p"'}, "source[0].probe"),
        ({"value": "[]"}, "source[0].value"),
        ({"value": "7"}, "source[0].value"),
        ({"value": "[7]"}, "source[0].value[0]"),
        ({"value": f"[{DOOR}, {DOOR}]"}, "source[0].value[1].quantity"),
        ({"value": f'[{DOOR}, {{ quantity = "ph", at = "/x" }}]'}, "source[0].value[1].quantity"),
        ({"value": '[{ quantity = "door", at = "/x", unit = "/" }]'}, "source[0].value[0].unit"),
        ({"value": '[{ quantity = "humidity", at = "/x", unit = "%" }]'}, "source[0].value[0].unit"),
        ({"value": '[{ quantity = "humidity", at = "/x", unit = "degF" }]'}, "source[0].value[0].unit"),
        ({"value": '[{ quantity = "humidity", at = "/x" }]'}, "source[0].value[0].unit"),
        ({"value": '[{ quantity = "door", at = "x" }]'}, "source[0].value[0].at"),
        ({"value": '[{ quantity = "door" }]'}, "source[0].value[0].at"),
        ({"value": f'[{DOOR}, {{ quantity = "mains", at = "" }}]'}, "source[0].value"),
        (
            {"value": '[{ quantity = "door", at = "" }]', "time": '{ at = "/t", form = "seconds" }'},
            "source[0].value",
        ),
        ({"time": "7"}, "source[0].time"),
        ({"time": '{ at = "/t" }'}, "source[0].time.form"),
        ({"time": '{ at = "/t", form = "minutes" }'}, "source[0].time.form"),
        ({"time": '{ at = "/t", form = "seconds", zone = "UTC" }'}, "source[0].time.zone"),
    ],
)
def test_a_mistake_is_told_with_file_and_key(changed: dict[str, str], key: str) -> None:
    with pytest.raises(SourcesError) as refused:
        parse_sources(text(**changed), file="s.toml")
    assert (refused.value.file, refused.value.key) == ("s.toml", key)
    assert str(refused.value).startswith(f"s.toml: {key}: ")
    assert isinstance(refused.value, SetupError)


@pytest.mark.parametrize(
    ("second", "key"),
    [
        (text(), "source[1].name"),
        (text(name='"b"'), "source[1].topic"),
    ],
)
def test_two_sources_differ_in_name_and_topic(second: str, key: str) -> None:
    with pytest.raises(SourcesError) as refused:
        parse_sources(text() + second, file="s.toml")
    assert refused.value.key == key


@pytest.mark.parametrize("broken", ["[[source", "", "x = 1"])
def test_what_is_no_sources_file_is_told(broken: str) -> None:
    with pytest.raises(SourcesError, match=r"^s\.toml: "):
        parse_sources(broken, file="s.toml")


LEVEL = st.sampled_from(["a", "b", "", "$a"])


@given(st.lists(LEVEL, min_size=1, max_size=4), st.integers(0, 3), st.lists(LEVEL, min_size=1, max_size=4))
def test_a_source_takes_what_its_own_subscription_brings(levels: list[str], place: int, topic: list[str]) -> None:
    """paho-mqtt's matcher is the judge."""
    pattern = [*levels]
    pattern[place % len(levels)] = "{probe}"
    (source,) = parse_sources(text(topic=f'"{"/".join(pattern)}"'), file="s.toml")
    matched = source.probe_in("/".join(topic)) is not None
    assert matched == topic_matches_sub(source.subscription, "/".join(topic))


def test_a_topic_without_a_probe_takes_the_one_declared() -> None:
    (source,) = parse_sources(text(topic='"hall/state"', probe='"p-1"'), file="s.toml")
    assert source.probe_in("hall/state") == "p-1"
    assert source.probe_in("hall/other") is None
    assert source.subscription == "hall/state"


def test_a_topic_may_name_the_gateway_that_passes_messages_on() -> None:
    (source,) = parse_sources(text(topic='"{gateway}/{probe}/state"'), file="s.toml")
    assert source.subscription == "+/+/state"
    assert (source.probe_in("north/p-1/state"), source.gateway_in("north/p-1/state")) == ("p-1", "north")
    for foreign in ("$SYS/p-1/state", "north/p-1/other", "north/p-1"):
        assert (source.probe_in(foreign), source.gateway_in(foreign)) == (None, None)
    (fixed,) = parse_sources(text(topic='"hall/{gateway}"', probe='"p-1"'), file="s.toml")
    assert (fixed.probe_in("hall/north"), fixed.gateway_in("hall/north")) == ("p-1", "north")


@pytest.mark.parametrize("topic", ["{gateway}/{gateway}/{probe}", "gw-{gateway}/{probe}", "{gate}/{probe}"])
def test_the_gateway_stands_once_and_for_a_whole_level(topic: str) -> None:
    with pytest.raises(SourcesError):
        parse_sources(text(topic=f'"{topic}"'), file="s.toml")
