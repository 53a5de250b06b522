"""Our topics, and the filters that bring them; paho-mqtt's matcher says what a filter matches."""

from __future__ import annotations

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st
from paho.mqtt.client import topic_matches_sub

from service.wire.topics import (
    Address,
    is_marker,
    is_topic_name,
    marker_topic,
    parse_topic,
    probe_id,
    subscriptions,
)

pytestmark = pytest.mark.pure

LEVELS = st.lists(st.sampled_from(["houseband", "f", "p", "", "cbor", "_marker", "$x", "co2", "+"]), max_size=5)


def parsed(topic: str) -> Address | None:
    return parse_topic(topic, prefix="houseband", farm="f")


@pytest.mark.parametrize(
    ("topic", "address"),
    [
        ("houseband/f", Address()),
        ("houseband/f/cbor", Address(cbor=True)),
        ("houseband/f/p-1", Address(probe=probe_id("p-1"))),
        ("houseband/f/p-1/cbor", Address(probe=probe_id("p-1"), cbor=True)),
        ("houseband/f/p-1/co2", Address(probe=probe_id("p-1"), quantity="co2")),
        ("houseband/f/p-1/co2/cbor", None),
        ("houseband/f/", None),
        ("houseband/f/cbor/co2", None),
        ("houseband/fx/p-1", None),
        ("houseband", None),
        ("", None),
    ],
)
def test_a_topic_names_probe_and_quantity(topic: str, address: Address | None) -> None:
    assert parsed(topic) == address


@pytest.mark.parametrize(
    "text", ["p", "0x00158d0001a2b3c4", "urn:dev:mac:0024befffe804ff1", "casa 3", "niño", "p" * 64]
)
def test_possible_probe_ids(text: str) -> None:
    assert probe_id(text) == text


@pytest.mark.parametrize(
    "text",
    ["", "p" * 65, "-p", "_p", " p", "p ", "p/q", "p+", "p#", "p\0", "p\n", "cbor", "$SYS", "\ud800", "p*"],
)
def test_impossible_probe_ids(text: str) -> None:
    assert probe_id(text) is None


def test_one_accented_id_is_not_spelled_two_ways() -> None:
    assert probe_id(unicodedata.normalize("NFC", "niño"))
    assert probe_id(unicodedata.normalize("NFD", "niño")) is None


def test_a_marker_is_ours_and_no_probe() -> None:
    topic = marker_topic("houseband", "f", "client-7")
    assert is_marker(topic, prefix="houseband", farm="f")
    assert parsed(topic) is None
    assert not is_marker("houseband/f/p/co2", prefix="houseband", farm="f")


@pytest.mark.parametrize("topic", ["a\0b", "a/#", "\ud800"])
def test_what_mqtt_does_not_allow_is_no_topic_name(topic: str) -> None:
    assert not is_topic_name(topic)


@given(LEVELS)
def test_the_subscription_brings_every_topic_of_ours(levels: list[str]) -> None:
    topic = "/".join(levels)
    (own,) = subscriptions("houseband", "f")
    ours = parsed(topic) is not None or is_marker(topic, prefix="houseband", farm="f")
    assert not ours or topic_matches_sub(own, topic)


def test_mapped_filters_are_asked_for_once_and_not_inside_our_own_tree() -> None:
    mapped = ["hall/+/state", "houseband/f/+/raw", "hall/+/state", "houseband/f", "houseband/fx/+"]
    assert subscriptions("houseband", "f", mapped) == ("houseband/f/#", "hall/+/state", "houseband/fx/+")
