"""Notices as CAP 1.2, read back by cap-tools, whose bindings were made from the published schema."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from typing import Any, Final
from xml.etree import ElementTree as ET

import pytest
from cap_tools import AlertState
from cap_tools.models import Alert
from xsdata.formats.dataclass.parsers import XmlParser
from xsdata.formats.dataclass.parsers.config import ParserConfig

from service.notifications.carriers.cap import MEANING, NAMESPACE, alert, meaning_of, moment, name
from service.notifications.carriers.message import Message
from tests.support.reference import Row, rows_of, uses

pytestmark = pytest.mark.pure

ROWS: Final = {row["id"]: row for row in rows_of("push_problem_cap.csv")}
STATUS, SCOPE, RESPONSE, CATEGORY, ZONE = (ROWS[f"PPC-{number}"] for number in ("029", "031", "032", "033", "034"))
READER: Final = XmlParser(config=ParserConfig(fail_on_unknown_properties=True, fail_on_converter_warnings=True))
MESSAGE: Final = Message(
    to="",
    text="House 7: humidity 78% <under> limit 85 & falling\x00\ud800",
    key="n41,s1 p2<web>",
    at_ms=1_795_590_061_500,
    kind="trouble",
    facts={"room": "House 7", "at_ms": 1_795_590_000_000, "began_ms": 1_795_589_000_000, "value": 78.2},
)
EARLIER: Final = [["n40", 1_795_580_000_000], ["n41", 1_795_585_000_000]]
KINDS: Final = [*MEANING, "opted out"]


def said(**changes: Any) -> Alert:
    facts = {**(MESSAGE.facts or {}), **changes.pop("facts", {})}
    return READER.from_string(alert(replace(MESSAGE, facts=facts, **changes), sender="alder creek"), Alert)


def listed(row: Row) -> set[str]:
    return set(json.loads(row["expected"]))


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_is_read_back_with_nothing_unknown(kind: str) -> None:
    info = said(kind=kind, facts={"earlier": EARLIER}).infos[0]
    assert info.description is not None
    assert info.description.startswith("House 7: humidity 78% <under> limit 85 & falling")
    assert [area.area_desc for area in info.areas] == ["House 7"]


@uses(STATUS, SCOPE, RESPONSE, CATEGORY)
@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("invented", [False, True])
def test_only_words_of_the_standard_are_used(kind: str, invented: bool) -> None:  # noqa: FBT001
    made = said(kind=kind, facts={"invented": invented})
    info = made.infos[0]
    assert made.status.value in listed(STATUS)
    assert made.scope.value in listed(SCOPE)
    assert {one.value for one in info.response_types} <= listed(RESPONSE)
    assert {one.value for one in info.categories} <= listed(CATEGORY)


@uses(RESPONSE)
@pytest.mark.parametrize("side", ["people", "low"])
def test_nobody_is_told_that_all_is_clear(side: str) -> None:
    said_of_ends = {meaning.response for meaning in MEANING.values()}
    assert "AllClear" in listed(RESPONSE) - said_of_ends
    ended = meaning_of(replace(MESSAGE, kind="back", facts={"side": side}))
    assert (ended.part, ended.response) == (("Update", "Monitor") if side == "people" else ("Cancel", "None"))


@uses(ZONE)
def test_moments_have_no_letter_for_their_zone() -> None:
    with_letter = json.loads(ZONE["inputs"])["text"]
    assert moment(1_793_505_600_000) == with_letter.replace("Z", "-00:00")
    assert "Z<" not in alert(MESSAGE, sender="alder-creek")


def test_an_update_and_an_end_take_the_place_of_what_they_name() -> None:
    """In the books of cap-tools, which strikes out what an Update or a Cancel refers to, or fails."""
    books = AlertState()
    books.ingest(said(key="n40", facts={"at_ms": 1_795_580_000_000}))
    books.ingest(said(key="n41", kind="deeper", facts={"earlier": EARLIER[:1], "at_ms": 1_795_585_000_000}))
    assert [(one.identifier, one.msg_type.value) for one in books.alerts] == [("n41", "Update")]
    books.ingest(said(key="n42", kind="back", facts={"earlier": EARLIER[1:]}))
    assert [(one.identifier, one.msg_type.value) for one in books.alerts] == [("n42", "Cancel")]


def test_references_are_written_as_the_standard_says() -> None:
    assert said(kind="back", facts={"earlier": EARLIER}).references == (
        "alder-creek,n40,2026-11-25T04:13:20-00:00 alder-creek,n41,2026-11-25T05:36:40-00:00"
    )


@pytest.mark.parametrize("kind", KINDS)
def test_what_follows_nothing_goes_out_as_news(kind: str) -> None:
    made = said(kind=kind)
    assert (made.msg_type.value, made.references) == ("Alert", None)


def test_what_is_invented_is_an_exercise_and_a_trial_is_a_test() -> None:
    assert said().status.value == "Actual"
    assert said(facts={"invented": True}).status.value == "Exercise"
    assert said(facts={"invented": True}).note == "Invented data"
    assert said(kind="trial", facts={"invented": True}).status.value == "Test"


def test_a_second_attempt_says_the_same() -> None:
    again = replace(MESSAGE, at_ms=MESSAGE.at_ms + 5000)
    assert alert(again, sender="alder-creek") == alert(MESSAGE, sender="alder-creek")


def test_names_hold_nothing_that_the_standard_forbids() -> None:
    assert name("a b,c<d>&e") == "a-b-c-d>-e"
    assert name("") == "-"
    assert said().identifier == "n41-s1-p2-web>"


# The order of the elements, from memory: CAP 1.2 section 3.4, where the schema makes it a sequence.
ORDER: Final = re.findall(
    r"\w+",
    "identifier sender sent status msgType source scope restriction addresses code note references incidents info",
)
INFO_ORDER: Final = re.findall(
    r"\w+",
    "language category event responseType urgency severity certainty audience eventCode effective onset expires "
    "senderName headline description instruction web contact parameter resource area",
)


@pytest.mark.parametrize("kind", KINDS)
def test_elements_stand_in_the_order_of_the_schema(kind: str) -> None:
    facts = {**(MESSAGE.facts or {}), "invented": True, "earlier": EARLIER, "quantity": "humidity"}
    root = ET.fromstring(alert(replace(MESSAGE, kind=kind, facts=facts), sender="f"))
    for parent, order in ((root, ORDER), (root.find(f"{{{NAMESPACE}}}info"), INFO_ORDER)):
        assert parent is not None
        places = [order.index(child.tag.removeprefix(f"{{{NAMESPACE}}}")) for child in parent]
        assert places == sorted(places)


def test_a_notice_of_the_whole_site_names_every_room() -> None:
    made = said(kind="site", facts={"room": None, "rooms": ["House 3", "House 4"]})
    assert [area.area_desc for area in made.infos[0].areas] == ["House 3", "House 4"]
    assert [area.area_desc for area in said(facts={"room": None}).infos[0].areas] == ["the farm"]


def test_the_reader_knows_a_document_that_is_wrong() -> None:
    """Else reading back would prove nothing."""
    with pytest.raises(Exception, match=r"(?i)unknown|AllOfIt|enum"):
        READER.from_string(alert(MESSAGE, sender="f").replace(">Assess<", ">AllOfIt<"), Alert)
