"""Answers by text: what people write half asleep, and what it means. The sentences are made up."""

from __future__ import annotations

from typing import Final

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.wire.reply_lexicon import MEANINGS, ORDERS, Order
from service.wire.reply_times import Until
from service.wire.reply_words import NotUnderstood, Said, read, reply_name
from service.wire.word import Word
from service.wording.phrases import SPANISH
from tests.support.steady import STEADY

pytestmark = pytest.mark.pure

NAMES: Final = {"h7": "House 7", "h3": "House 3", "c1": "Cooler", "t2": "Tank room"}
STAGES: Final = ("incubation", "pins", "fruiting", "rest", "spawn run")

CARRIERS_WORDS: Final = (
    "STOP", "END", "CANCEL", "QUIT", "HELP", "UNSUBSCRIBE", "STOPALL", "START", "YES", "UNSTOP", "INFO",
    "ALTO", "BAJA", "PARAR", "AYUDA",
)  # fmt: skip
"""The words at which phone companies act themselves (CTIA messaging principles, Spanish likes; memory)."""


def say(text: str) -> Said:
    said = read(text, NAMES, STAGES)
    assert isinstance(said, Said), (text, said)
    return said


KNOWN: Final = {
    "7 going": Said(word=Word.GOING, room_id="h7"),
    "going 7": Said(word=Word.GOING, room_id="h7"),
    "house 7 going": Said(word=Word.GOING, room_id="h7"),
    "casa 7 voy": Said(word=Word.GOING, room_id="h7"),
    "Voy 7": Said(word=Word.GOING, room_id="h7"),
    "ya voy": Said(word=Word.GOING),
    "cooler going": Said(word=Word.GOING, room_id="c1"),
    "tank room going": Said(word=Word.GOING, room_id="t2"),
    "7 cannot": Said(word=Word.CANNOT, room_id="h7"),
    "7 no puedo": Said(word=Word.CANNOT, room_id="h7"),
    "7 out": Said(word=Word.OUT, room_id="h7"),
    "fuera 7": Said(word=Word.OUT, room_id="h7"),
    "sali": Said(word=Word.OUT),
    "7 probe": Said(word=Word.PROBE, room_id="h7"),
    "sonda 7": Said(word=Word.PROBE, room_id="h7"),
    "7 fixed": Said(word=Word.FIXED, room_id="h7"),
    "7 arreglado": Said(word=Word.FIXED, room_id="h7"),
    "why 7": Said(word=Word.WHY, room_id="h7"),
    "por que": Said(word=Word.WHY),
    "status": Said(word=Word.STATUS),
    "estado 3": Said(word=Word.STATUS, room_id="h3"),
    "here": Said(word=Word.HERE),
    "aqui": Said(word=Word.HERE),
    "7 pins": Said(word=Word.STAGE, room_id="h7", stages=("pins",)),
    "7 pines": Said(word=Word.STAGE, room_id="h7", stages=("pins",)),
    "casa 3 fructificacion": Said(word=Word.STAGE, room_id="h3", stages=("fruiting",)),
    "7 spawn run": Said(word=Word.STAGE, room_id="h7", stages=("spawn run",)),
    "7 working until 10": Said(word=Word.WORKING, room_id="h7", until=Until(minute=600, either_half=True)),
    "working all until 10 pm": Said(
        word=Word.WORKING, all_rooms=True, until=Until(minute=1320, either_half=False)
    ),
    "trabajo todo hasta 10:30": Said(word=Word.WORKING, all_rooms=True, until=Until(minute=630, either_half=True)),
    "trabajo 7 hasta las 10": Said(word=Word.WORKING, room_id="h7", until=Until(minute=600, either_half=True)),
}


@pytest.mark.parametrize("text", KNOWN)
def test_what_we_ask_people_to_write_is_understood(text: str) -> None:
    assert say(text) == KNOWN[text]


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("goin", Word.GOING),
        ("gong", Word.GOING),
        ("GOIMG 7", Word.GOING),
        ("goingg!!", Word.GOING),
        ("goinggg", Word.GOING),
        ("yavoy", Word.GOING),
        ("ya voy jefe", Word.GOING),
        ("voyyy", Word.GOING),
        ("voy en camino", Word.GOING),
        ("voy a ir a la 7", Word.GOING),
        ("I'm on my way to house 7", Word.GOING),
        ("yes going", Word.GOING),
        ("si, voy", Word.GOING),
        ("nopuedo", Word.CANNOT),
        ("No puedo ir", Word.CANNOT),
        ("can't", Word.CANNOT),
        ("can\N{RIGHT SINGLE QUOTATION MARK}t go", Word.CANNOT),
        ("cant", Word.CANNOT),
        ("can not", Word.CANNOT),
        ("not going", Word.CANNOT),
        ("I am not going", Word.CANNOT),
        ("no voy", Word.CANNOT),
        ("no, going", Word.CANNOT),
        ("not\ngoing", Word.CANNOT),
        ("i wont be able to go", Word.CANNOT),
        ("\N{NO ENTRY SIGN} going", Word.CANNOT),
        ("imposible", Word.CANNOT),
        ("Salí de la 7", Word.OUT),
        ("ya salí", Word.OUT),
        ("im out of house 7 now", Word.OUT),
        ("estoy fuera", Word.OUT),
        ("¿por qué?", Word.WHY),
        ("xq", Word.WHY),
        ("Why?", Word.WHY),
        ("its the probe", Word.PROBE),
        ("ya está arreglado", Word.FIXED),
        ("voy a trabajar hasta las 10", Word.WORKING),
    ],
)
def test_slips_and_small_words_are_taken_as_meant(text: str, word: Word) -> None:
    assert say(text).word is word


@pytest.mark.parametrize(
    "text",
    [
        "", "?", "7", "house 7", "ok", "no", "si", "thanks", "who is this", "wrong number", "numero equivocado",
        "who is going?", "going?", "is anyone going", "nobody is out", "Juan is going", "he is going to 7",
        "going cannot", "7 going 7 cannot", "7 going\n3 cannot", "7 going 3 going", "going out", "out here",
        "probe fixed", "not fixed", "not out", "not working", "heater not working", "9 going", "house 9 going",
        "no 7 going", "No. 7 going", "maybe going", "if i can i go", "si puedo voy", "voy mañana", "can", "go",
        "dont go", "stop texting me", "end working", "working until", "working until 25", "working until 10 11",
        "out at 10", "out until 10", "7 pins fruiting", "7 pins going", "im stuck cannot leave\ngoing",
        "I'm driving right now, I will get back to you later.", "until 10", "working until 22 am",
    ],
)  # fmt: skip
def test_what_may_mean_something_else_is_not_understood(text: str) -> None:
    assert isinstance(read(text, NAMES, STAGES), NotUnderstood)


@pytest.mark.parametrize(
    ("text", "room_id"),
    [
        ("#7 going", "h7"),
        ("#7going", "h7"),
        ("7going", "h7"),
        ("07 going", "h7"),
        ("\N{FULLWIDTH DIGIT SEVEN} going", "h7"),
        ("\N{ARABIC-INDIC DIGIT SEVEN} going", "h7"),
        ("7\N{VARIATION SELECTOR-16}\N{COMBINING ENCLOSING KEYCAP} going", "h7"),
        ("nº 7 voy", "h7"),
        ("\N{NUMERO SIGN}7 going", "h7"),
        ('"House 7" going', "h7"),
        ("HOUSE7 GOING", "h7"),
        ("cuarto 3, voy", "h3"),
        ("Maria: 7 going", "h7"),
        ("[Maria] 7 going", "h7"),
        ("7 going - Maria Lopez", "h7"),
        ("Maria\n7 going", "h7"),
        ("7 going\nMaria Lopez\n555-1234", "h7"),
        ("\n\n7\ngoing", "h7"),
        ("7 going\n> House 3 oyster: humidity 70%. Reply 3 going or 3 cannot", "h7"),
        ("7 going\nHouse 3: humidity 70%. Reply 3 going or 3 cannot", "h7"),
    ],
)
def test_a_room_is_known_however_it_is_written(text: str, room_id: str) -> None:
    assert say(text) == Said(word=Word.GOING, room_id=room_id)


@pytest.mark.parametrize(
    ("said", "minute", "either_half"),
    [
        ("10", 600, True),
        ("10:30", 630, True),
        ("10.30", 630, True),
        ("1030", 630, True),
        ("930", 570, True),
        ("0730", 450, False),
        ("07:30", 450, False),
        ("10am", 600, False),
        ("10 a.m.", 600, False),
        ("10 pm", 1320, False),
        ("10PM", 1320, False),
        ("10:30pm", 1350, False),
        ("22h", 1320, False),
        ("10h30", 630, True),
        ("22:15", 1335, False),
        ("2215", 1335, False),
        ("12", 0, True),
        ("12:30", 30, True),
        ("12 am", 0, False),
        ("12pm", 720, False),
        ("24", 0, False),
        ("noon", 720, False),
        ("medianoche", 0, False),
        ("las 10", 600, True),
        ("las 10 y media", 630, True),
        ("las 10 de la noche", 1320, False),
        ("las 10 de la mañana", 600, False),
        ("10 tonight", 1320, False),
        ("10 in the morning", 600, False),
        ("22 de la noche", 1320, False),
    ],
)
def test_times_are_read_as_they_are_written(said: str, minute: int, *, either_half: bool) -> None:
    for text in (f"7 working until {said}", f"trabajo hasta {said} 7"):
        assert say(text).until == Until(minute=minute, either_half=either_half)
        assert say(text).room_id == "h7"


def test_working_without_a_time_is_understood_so_that_the_time_can_be_asked_for() -> None:
    assert say("7 working") == Said(word=Word.WORKING, room_id="h7")


def test_no_word_of_ours_is_an_order_to_the_phone_company() -> None:
    words = {phrase[0].upper() for phrase, meaning in MEANINGS.items() if isinstance(meaning, Word)}
    assert words & set(CARRIERS_WORDS) == set()
    assert {word.upper() for word in ORDERS} == set(CARRIERS_WORDS)


@pytest.mark.parametrize("word", CARRIERS_WORDS)
def test_an_order_is_known_as_such_and_never_as_an_answer(word: str) -> None:
    for text in (word, word.lower(), f" {word}. ", f"{word} please", f'"{word}"'):
        assert isinstance(read(text, NAMES, STAGES), Order)
    assert read(word, {**NAMES, "x": word}, [*STAGES, word.lower()]) is ORDERS[word.lower()]


def test_which_order_it_is() -> None:
    assert read("STOP ALL", NAMES) is Order.OPT_OUT
    assert read("Baja", NAMES) is Order.OPT_OUT
    assert read("unstop", NAMES) is Order.OPT_IN
    assert read("Ayuda", NAMES) is Order.HELP


@pytest.mark.parametrize("stage", SPANISH.stage)
def test_a_stage_is_understood_as_spanish_texts_call_it(stage: str) -> None:
    said = read(f"7 {SPANISH.stage[stage]}", NAMES, SPANISH.stage)
    assert isinstance(said, Said), stage
    assert said.word is Word.STAGE
    assert stage in said.stages


def test_a_number_that_two_rooms_have_names_neither_but_the_house_among_them() -> None:
    names = {"h7": "House 7", "c7": "Cooler 7"}
    assert isinstance(read("7 going", names), NotUnderstood)
    assert read("cooler 7 going", names) == Said(word=Word.GOING, room_id="c7")
    assert read("house 7 going", names) == Said(word=Word.GOING, room_id="h7")
    assert read("casa 7 voy", names) == Said(word=Word.GOING, room_id="h7")


def test_a_room_may_be_called_by_a_letter_that_is_a_word_besides() -> None:
    names = {"a": "A", "h3": "House 3"}
    assert read("A going", names) == Said(word=Word.GOING, room_id="a")
    assert read("voy a 3", names) == Said(word=Word.GOING, room_id="h3")


def test_a_room_or_stage_that_is_called_like_a_word_of_ours_does_not_take_it() -> None:
    assert read("out", {"x": "Out"}, ["out"]) == Said(word=Word.OUT)


def test_the_name_to_answer_with_is_the_number_where_that_is_enough() -> None:
    names = ["House 7", "House 3", "Cooler 3", "Cooler", "Block 2 B 4"]
    assert [reply_name(name, names) for name in names] == ["7", "House 3", "Cooler 3", "Cooler", "Block 2 B 4"]
    assert reply_name("House 07", ["House 07", "House 8"]) == "7"


ROOM_NAMES: Final = st.lists(
    st.tuples(st.sampled_from(["House", "Casa", "Cooler", "Tent", "Á"]), st.integers(0, 30)),
    min_size=1,
    unique=True,
).map(lambda pairs: [f"{kind} {number}" for kind, number in pairs])


@given(names=ROOM_NAMES)
def test_the_name_to_answer_with_leads_back_to_its_room(names: list[str]) -> None:
    by_id = {f"id {n}": name for n, name in enumerate(names)}
    for room_id, name in by_id.items():
        assert read(f"{reply_name(name, names)} going", by_id) == Said(word=Word.GOING, room_id=room_id)
        assert read(f"voy {reply_name(name, names)}", by_id) == Said(word=Word.GOING, room_id=room_id)


ANY_TEXT: Final = st.text(st.characters(exclude_categories=()), max_size=80)
PIECES: Final = st.lists(
    st.sampled_from([" ".join(phrase) for phrase in MEANINGS] + [*ORDERS, "7", "until", "10", "\n", "?", "pins"])
).map(" ".join)


@STEADY
@given(
    text=ANY_TEXT | PIECES,
    names=st.dictionaries(ANY_TEXT, ANY_TEXT, max_size=3),
    stages=st.lists(ANY_TEXT, max_size=3),
)
def test_any_text_at_all_is_answered_and_never_fails(text: str, names: dict[str, str], stages: list[str]) -> None:
    assert isinstance(read(text, names, stages), Said | Order | NotUnderstood)
    assert isinstance(read(text, NAMES, STAGES), Said | Order | NotUnderstood)
    for name in names.values():
        assert isinstance(reply_name(name, names.values()), str)


@STEADY
@given(text=PIECES)
def test_no_text_with_a_refusal_in_it_is_taken_for_going(text: str) -> None:
    for refusal in ("not", "no", "cannot", "no puedo", "nobody"):
        for said in (read(f"{refusal} {text}", NAMES), read(f"{text} {refusal}", NAMES)):
            assert not isinstance(said, Said) or said.word is not Word.GOING


def _accented(text: str) -> str:
    return text.translate(str.maketrans("aeiou", "áéíóú"))


def _wide(text: str) -> str:
    return "".join(chr(ord(letter) + 0xFEE0) if letter.isdecimal() else letter for letter in text)


DECORATIONS: Final = (
    str.upper,
    str.title,
    _accented,
    _wide,
    lambda text: f"  {text}  ",
    lambda text: text.replace(" ", "   "),
    lambda text: text.replace(" ", "\N{NO-BREAK SPACE}"),
    lambda text: f"{text}!!!",
    lambda text: f"{text}.",
    lambda text: f'"{text}"',
    lambda text: f"\N{LEFT DOUBLE QUOTATION MARK}{text}\N{RIGHT DOUBLE QUOTATION MARK}",
    lambda text: f"¡{text}!",
    lambda text: f"{text} \N{THUMBS UP SIGN}\N{EMOJI MODIFIER FITZPATRICK TYPE-4}",
    lambda text: f"\N{MUSHROOM} {text}",
    lambda text: f"\n\n{text}\n",
    lambda text: f"{text}\nMaria",
    lambda text: f"Maria\n{text}",
    lambda text: f"Maria: {text}",
    lambda text: f"ok {text} please",
    lambda text: f"{text}, gracias",
    lambda text: f"\N{ZERO WIDTH SPACE}{text}\N{WORD JOINER}",
)


@STEADY
@given(text=st.sampled_from(sorted(KNOWN)), how=st.lists(st.sampled_from(DECORATIONS), max_size=4, unique=True))
def test_decorations_do_not_change_what_is_meant(text: str, how: list[object]) -> None:
    decorated = text
    for decoration in how:
        decorated = decoration(decorated)  # type: ignore[operator]
    assert read(decorated, NAMES, STAGES) == KNOWN[text], decorated
