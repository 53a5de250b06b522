"""The modem over a real pseudo-terminal, with a pretend one at the other end."""

from __future__ import annotations

import asyncio
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from service.errors import SetupError
from service.notifications.carriers.message import Message
from service.notifications.carriers.modem import Modem, ModemLine, Received, Standing
from service.notifications.carriers.outcome import Accepted, Refused, Unreachable
from tests.support.pretend_modem import PretendModem, pretend_modem

MESSAGE = Message(to="+12025550143", text="House 7: humidity 78%", key="k-1", at_ms=1_795_590_000_000)
CAME = "07917283010010F5040BC87238880900F10000993092516195800AE8329BFD4697D9EC37"


@pytest.fixture
def other(tmp_path: Path) -> Iterator[PretendModem]:
    with pretend_modem(tmp_path) as modem:
        yield modem


def ours(other: PretendModem, **changes: Any) -> Modem:
    return Modem(replace(ModemLine(device=other.device, timeout_s=10), **changes))


async def test_a_text_is_sent_with_number_and_signal_in_the_detail(other: PretendModem) -> None:
    outcome = await ours(other).carry(MESSAGE)
    assert outcome == Accepted(detail="by modem, signal 17 of 31, text number 1")
    assert other.texts == [(MESSAGE.to, MESSAGE.text)]


async def test_the_device_is_set_up_as_the_standard_says(other: PretendModem) -> None:
    await ours(other).carry(MESSAGE)
    said = [command for command in other.asked if command.startswith("AT")]
    assert said == ["AT", "ATE0", "AT+CMEE=1", "AT+CPIN?", "AT+CMGF=0", "AT+CREG?", "AT+CSQ", "AT+CMGS=33"]


async def test_lines_that_nobody_asked_for_and_odd_pieces_change_nothing(other: PretendModem) -> None:
    other.between = ["RING", '+CMTI: "SM",3', "+CREG: 0", "^RSSI:12", "\x7f\x01garbage", "+CREG: 2"]
    other.in_pieces = True
    assert isinstance(await ours(other).carry(MESSAGE), Accepted)
    assert other.texts == [(MESSAGE.to, MESSAGE.text)]


async def test_a_text_that_looks_like_commands_is_sent_letter_for_letter(other: PretendModem) -> None:
    text = "AT+CMGD=1 ~[x]^ {Ξ} 3€ señal\nOK\nERROR > "
    await ours(other).carry(replace(MESSAGE, text=text))
    assert other.texts == [(MESSAGE.to, text)]


@pytest.mark.parametrize(
    ("changes", "status", "said"),
    [
        ({"card": "+CPIN: SIM PIN"}, 311, "PIN"),
        ({"card": "+CPIN: SIM PUK"}, 316, "PUK"),
        ({"card": "+CPIN: PH-SIM PIN"}, 312, "another SIM card"),
        ({"card": "+CME ERROR: 10"}, 310, "no SIM card"),
        ({"card": "ERROR"}, 500, "does not say why"),
        ({"network": "+CREG: 0,2"}, 331, "no network"),
        ({"network": "+CREG: 0,3", "lte": "ERROR"}, 331, "no network"),
        ({"refusal": "+CMS ERROR: 38"}, 38, "out of order"),
        ({"refusal": "+CMS ERROR: 1"}, 1, "no such number"),
        ({"refusal": "+CMS ERROR: SMS service of ME reserved"}, 500, "does not say why"),
        ({"prompt_refusal": "+CMS ERROR: 302"}, 302, "not allowed"),
    ],
)
async def test_what_keeps_a_text_is_said_with_its_number(
    other: PretendModem, changes: dict[str, str], status: int, said: str
) -> None:
    vars(other).update(changes)
    outcome = await ours(other).carry(MESSAGE)
    assert isinstance(outcome, Refused)
    assert (outcome.protocol, outcome.status) == ("at", status)
    assert said in outcome.detail
    assert other.texts == []


@pytest.mark.parametrize("network", ["+CREG: 0,5", '+CREG: 2,1,"1A2B","0100"', "+CREG: 0,6", "+CREG:0,1"])
async def test_at_home_roaming_and_for_texts_only_are_a_network(other: PretendModem, network: str) -> None:
    other.network = network
    assert isinstance(await ours(other).carry(MESSAGE), Accepted)


async def test_a_network_that_only_newer_words_speak_of_is_found(other: PretendModem) -> None:
    other.network, other.lte = "+CREG: 0,0", "+CEREG: 0,1"
    assert isinstance(await ours(other).carry(MESSAGE), Accepted)


async def test_a_modem_that_sleeps_through_the_first_word_is_woken(other: PretendModem) -> None:
    other.lost_words = 1
    assert isinstance(await ours(other).carry(MESSAGE), Accepted)


async def test_a_modem_that_says_nothing_is_unreachable_in_time(other: PretendModem) -> None:
    other.silent = True
    outcome = await ours(other, timeout_s=0.3).carry(MESSAGE)
    assert outcome == Unreachable(detail="modem: no answer within 0.3 s")


async def test_a_modem_pulled_out_is_found_again_when_it_is_back(other: PretendModem) -> None:
    modem = ours(other)
    other.pull_out()
    assert isinstance(await modem.carry(MESSAGE), Unreachable)
    other.plug_in()
    assert isinstance(await modem.carry(MESSAGE), Accepted)


async def test_a_modem_pulled_out_in_the_middle_is_unreachable_at_once(other: PretendModem) -> None:
    other.hang_up_at_sending = True
    assert isinstance(await ours(other).carry(MESSAGE), Unreachable)


async def test_no_such_device_is_unreachable(tmp_path: Path) -> None:
    outcome = await Modem(ModemLine(device=tmp_path / "nothing")).carry(MESSAGE)
    assert outcome == Unreachable(detail="modem: No such file or directory")


async def test_a_device_that_is_no_line_is_unreachable(tmp_path: Path) -> None:
    file = tmp_path / "file"
    file.write_text("")
    assert isinstance(await Modem(ModemLine(device=file)).carry(MESSAGE), Unreachable)


async def test_a_message_cut_off_half_way_does_not_swallow_the_next(other: PretendModem) -> None:
    """Cancelling between the prompt and the text's end leaves a modem that takes everything for text."""
    modem = ours(other)
    other.refusal = ""
    first = asyncio.create_task(modem.carry(MESSAGE))
    while not any(command.startswith("AT+CMGS") for command in other.asked):
        await asyncio.wait([first], timeout=0.001)
    first.cancel()
    await asyncio.gather(first, return_exceptions=True)
    other.texts.clear()
    assert isinstance(await modem.carry(replace(MESSAGE, text="second")), Accepted)
    assert other.texts[-1] == (MESSAGE.to, "second")


@pytest.mark.parametrize("to", ["", "5550143", "+1202555014x", "ines@example.org", "+0123456"])
async def test_what_is_no_number_is_refused_without_asking_the_modem(other: PretendModem, to: str) -> None:
    outcome = await ours(other).carry(replace(MESSAGE, to=to))
    assert outcome == Refused(protocol="at", status=304, detail="304 not a phone number")
    assert other.asked == []


async def test_a_look_says_what_is_there_without_sending(other: PretendModem) -> None:
    assert await ours(other).look() == Standing(network=True, signal=17)
    other.signal = "+CSQ: 99,99"
    other.network = "+CREG: 0,2"
    assert await ours(other).look() == Standing(network=False, signal=None)
    assert other.texts == []


async def test_a_look_says_in_words_what_is_wrong(other: PretendModem) -> None:
    other.card = "+CPIN: SIM PIN"
    with pytest.raises(SetupError, match="asks for its PIN"):
        await ours(other).look()
    other.silent = True
    with pytest.raises(SetupError, match="does not answer"):
        await ours(other, timeout_s=0.2).look()
    other.pull_out()
    with pytest.raises(SetupError, match="No such file"):
        await ours(other).look()


async def test_texts_that_came_are_read_and_stay_until_they_are_forgotten(other: PretendModem) -> None:
    other.kept = {2: CAME, 5: "00" * 20}
    other.between = ['+CMTI: "SM",9']
    modem = ours(other)
    came = await modem.received()
    assert came[0] == Received(index=2, phone="27838890001", text="hellohello", stamp="99309251619580")
    assert (came[1].index, came[1].phone) == (5, None)
    assert set(other.kept) == {2, 5}
    await modem.forget([2])
    assert set(other.kept) == {5}


async def test_asking_for_texts_without_a_modem_is_trouble_that_passes(other: PretendModem) -> None:
    other.card = "+CPIN: SIM PIN"
    with pytest.raises(OSError, match="PIN"):
        await ours(other).received()
    other.pull_out()
    with pytest.raises(OSError, match="No such file"):
        await ours(other).received()


async def test_the_loop_goes_on_while_a_modem_thinks(other: PretendModem) -> None:
    other.silent = True
    turns = 0
    task = asyncio.create_task(ours(other, timeout_s=0.3).carry(MESSAGE))
    while not task.done():
        await asyncio.wait([task], timeout=0.01)
        turns += 1
    assert turns >= 20


@pytest.mark.parametrize("changes", [{"speed": 1234}, {"timeout_s": 0}])
@pytest.mark.pure
def test_a_setting_that_could_only_fail_at_night_is_refused_by_day(changes: dict[str, Any]) -> None:
    with pytest.raises(SetupError, match="modem"):
        replace(ModemLine(device=Path("modem")), **changes)
