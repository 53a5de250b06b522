"""What is said of people on the way never drops who, where, the number to call, or the cautions."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.wording.chain_texts import (
    NotOutFacts,
    StillFacts,
    TrialFacts,
    not_out_text,
    opted_out_text,
    plain_text,
    still_text,
    taken_text,
    trial_text,
)
from service.wording.language import LANGUAGES
from service.wording.reader import Answers, Reader
from service.wording.segments import segments

pytestmark = pytest.mark.pure

names = st.text(max_size=40)
readers = st.builds(
    Reader,
    units=st.just("us"),
    language=st.sampled_from(LANGUAGES),
    answers=st.none() | st.builds(Answers, reply_name=st.sampled_from(("M" * 12, "7"))),
)
CAUTION = {"en": "Do not go in alone, air out", "es": "No entre solo, ventile"}


@given(
    st.builds(
        NotOutFacts,
        person=st.text(min_size=1, max_size=40),
        phone=st.none() | st.from_regex(r"\+[1-9][0-9]{6,14}", fullmatch=True),
        room=st.none() | names,
        since=st.just("02:10"),
        until=st.just("22:55"),
        working=st.booleans(),
        invented=st.booleans(),
    ),
    readers,
)
def test_whoever_looks_after_somebody_gets_number_and_caution(facts: NotOutFacts, reader: Reader) -> None:
    text = not_out_text(facts, reader)
    assert (segments(text).encoding, segments(text).count) == ("GSM-7", 1)
    assert CAUTION[reader.language] in text
    assert (facts.phone or "") in text
    assert ("22:55" if facts.working else "02:10") in text


@given(names, st.none() | names, st.lists(names, max_size=30), st.booleans(), readers)
def test_every_other_text_is_one_message_whatever_people_and_rooms_are_called(
    person: str,
    room: str | None,
    rooms: list[str],
    invented: bool,  # noqa: FBT001 - hypothesis fills by position
    reader: Reader,
) -> None:
    still = StillFacts(rooms=tuple(rooms), since="01:10", person=person, went="02:10", invented=invented)
    trials = (
        TrialFacts(kind=kind, farm=person, local_time="10:04", asks=asks, invented=invented)
        for kind in ("weekly", "night ring", "by hand")
        for asks in (True, False)
    )
    for text in (
        taken_text(person=person, room=room, invented=invented, reader=reader),
        still_text(still, reader),
        opted_out_text(person=person, invented=invented, reader=reader),
        plain_text(room=room, danger=invented, language=reader.language),
        *(trial_text(trial, reader) for trial in trials),
    ):
        assert (segments(text).encoding, segments(text).count) == ("GSM-7", 1)
