"""A text by a cellular modem on this machine, for when power and internet have failed together.

AT commands of 3GPP TS 27.005 over a serial line, one conversation at a time. Whatever state a modem was left in,
by us or by a power cut, the beginning of a conversation brings it back to where it listens.
"""

from __future__ import annotations

import asyncio
import re
from collections.abc import AsyncIterator, Iterable
from contextlib import asynccontextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from rules.model import MINUTE_MS
from service.errors import SetupError
from service.notifications.carriers import at_commands
from service.notifications.carriers.detail import detail
from service.notifications.carriers.message import Message
from service.notifications.carriers.outcome import Accepted, Outcome, Refused, Unreachable
from service.notifications.carriers.serial_line import SerialLine
from service.notifications.carriers.text_pdu import delivered, submit

_END: Final = b"\x1a"
_CANCEL: Final = b"\x1b"
_QUIET_S: Final = 0.1
_ANSWER_S: Final = 5.0
"""A modem answers most commands at once; sending has the whole time-out."""
_TRIES: Final = 3
_NOT_A_NUMBER: Final = 304
_NO_NETWORK: Final = 331
SPEEDS: Final = frozenset({9600, 19200, 38400, 57600, 115200, 230400, 460800, 921600})


class _Refused(Exception):  # noqa: N818 - a value on its way up
    """The modem said no; the status is as in +CMS ERROR."""

    def __init__(self, status: int) -> None:
        super().__init__(at_commands.said(status))
        self.status = status


@dataclass(frozen=True, slots=True, kw_only=True)
class ModemLine:
    """Where the modem is."""

    device: Path
    speed: int = 115_200
    timeout_s: float = 45.0
    """For one text, and as long again for one's turn: with a gateway's time before it, within a claim's 2 min."""
    valid_ms: int = 60 * MINUTE_MS
    """How long the network tries to reach a phone that is off."""

    def __post_init__(self) -> None:
        """Refuse what could only fail at night.

        Raises:
            SetupError: the message names the setting.
        """
        if self.speed not in SPEEDS:
            raise SetupError(f"modem speed must be one of {', '.join(map(str, sorted(SPEEDS)))}")
        if not self.timeout_s > 0:
            raise SetupError("modem time-out must be above 0 seconds")


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """What a look at the modem found."""

    network: bool
    signal: int | None
    """0 to 31, if known."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Received:
    """A text in the modem's memory. One that could not be read has no phone, and its digits for a text."""

    index: int
    phone: str | None
    text: str
    stamp: str


class Modem:
    """One modem, for sending and for receiving."""

    def __init__(self, line: ModemLine) -> None:
        self._line = line
        self._one_at_a_time = asyncio.Lock()

    async def carry(self, message: Message) -> Outcome:
        try:
            pdu = submit(message.to, message.text, valid_min=self._line.valid_ms // MINUTE_MS)
        except ValueError:
            return Refused(protocol="at", status=_NOT_A_NUMBER, detail=at_commands.said(_NOT_A_NUMBER))
        try:
            async with self._talk() as talk:
                standing = await _standing(talk)
                if not standing.network:
                    raise _Refused(_NO_NETWORK)  # noqa: TRY301 - the same end as the modem's own no
                lines = await talk.send(pdu.octets, pdu.digits)
        except _Refused as no:
            return Refused(protocol="at", status=no.status, detail=detail(f"modem: {no}"))
        except TimeoutError:
            return Unreachable(detail=f"modem: no answer within {self._line.timeout_s:g} s")
        except OSError as trouble:
            return Unreachable(detail=detail(f"modem: {trouble.strerror or trouble}"))
        number = at_commands.sent_as(lines)
        return Accepted(detail=f"by modem, signal {_shown(standing.signal)}, text number {number or 'not said'}")

    async def look(self) -> Standing:
        """Try everything but sending.

        Raises:
            SetupError: what is wrong, in plain words.
        """
        try:
            async with self._talk() as talk:
                return await _standing(talk)
        except _Refused as no:
            raise SetupError(f"the modem says: {no}") from None
        except TimeoutError:
            raise SetupError("the modem does not answer") from None
        except OSError as trouble:
            raise SetupError(f"{self._line.device}: {trouble.strerror or trouble}") from None

    async def received(self) -> list[Received]:
        """The texts that wait in the modem. They stay there until they are :meth:`forgotten <forget>`.

        Raises:
            OSError: no modem, or none that can be asked now; a time-out is one too.
        """
        async with self._asking() as talk:
            lines = await talk.ask("AT+CMGL=4")
        return [_read(kept) for kept in at_commands.kept(lines)]

    async def forget(self, indexes: Iterable[int]) -> None:
        """Take texts out of the modem's memory, which holds only a few dozen.

        Raises:
            OSError: as for ``received``.
        """
        async with self._asking() as talk:
            for index in indexes:
                await talk.ask(f"AT+CMGD={index}")

    @asynccontextmanager
    async def _asking(self) -> AsyncIterator[_Talk]:
        try:
            async with self._talk() as talk:
                yield talk
        except _Refused as no:
            raise OSError(f"the modem says: {no}") from no

    @asynccontextmanager
    async def _talk(self) -> AsyncIterator[_Talk]:
        """A conversation. Waiting for one's turn has a time-out of its own, lest a text be cut off half sent."""
        async with asyncio.timeout(self._line.timeout_s):
            await self._one_at_a_time.acquire()
        try:
            async with asyncio.timeout(self._line.timeout_s):
                with SerialLine.opened(self._line.device, self._line.speed) as line:
                    talk = _Talk(line)
                    await talk.begin()
                    yield talk
        finally:
            self._one_at_a_time.release()


class _Talk:
    """One conversation."""

    def __init__(self, line: SerialLine) -> None:
        self._line = line

    async def begin(self) -> None:
        """Out of a message that was never ended, awake, without echo, with numbers for troubles, in PDU mode."""
        await self._line.write(_CANCEL + b"\r")
        await self._until_quiet()
        await self._wake()
        await self._until_quiet()
        await self.ask("ATE0")
        await self.ask("AT+CMEE=1")
        status = at_commands.card(await self.ask("AT+CPIN?"))
        if status:
            raise _Refused(status)
        await self.ask("AT+CMGF=0")

    async def _wake(self) -> None:
        """A modem may be asleep or still at the end of something: the first word may be lost."""
        for _ in range(_TRIES - 1):
            try:
                async with asyncio.timeout(_ANSWER_S / _TRIES):
                    await self.ask("AT")
                    return
            except (TimeoutError, _Refused):
                continue
        await self.ask("AT")

    async def ask(self, command: str) -> list[str]:
        """The lines of the answer, among them what the modem said by itself."""
        await self._line.write(command.encode() + b"\r")
        return await self._answer()

    async def send(self, octets: int, digits: str) -> list[str]:
        await self._line.write(f"AT+CMGS={octets}\r".encode())
        await self._prompt()
        await self._line.write(digits.encode() + _END)
        return await self._answer()

    async def _answer(self) -> list[str]:
        lines: list[str] = []
        while True:
            line = await self._next()
            end = at_commands.final(line)
            if end is None:
                lines.append(line)
            elif end.good:
                return lines
            else:
                raise _Refused(end.status)

    async def _next(self) -> str:
        while (line := self._whole_line()) is None:
            await self._line.more()
        return line

    def _whole_line(self) -> str | None:
        """The first line that has come to its end and is not empty."""
        found = re.match(rb"[\r\n\0]*([^\r\n]+)[\r\n]", self._line.waiting)
        if found is None:
            return None
        line = found[1].decode("ascii", "replace").strip()
        del self._line.waiting[: found.end()]  # The match looks into what is deleted here.
        return line

    async def _prompt(self) -> None:
        """Wait for "> ", which ends no line."""
        while True:
            while (line := self._whole_line()) is not None:
                end = at_commands.final(line)
                if end is not None and not end.good:
                    raise _Refused(end.status)
            if self._line.waiting.lstrip(b"\r\n\0").startswith(b">"):
                self._line.waiting.clear()
                return
            await self._line.more()

    async def _until_quiet(self) -> None:
        try:
            while True:
                async with asyncio.timeout(_QUIET_S):
                    await self._line.more()
        except TimeoutError:
            self._line.waiting.clear()


async def _standing(talk: _Talk) -> Standing:
    network = at_commands.registered("CREG", await talk.ask("AT+CREG?")) or await _by_lte(talk)
    return Standing(network=network, signal=at_commands.signal(await talk.ask("AT+CSQ")))


async def _by_lte(talk: _Talk) -> bool:
    """Newer modems may be at home in a network that CREG does not speak of (TS 27.007 section 10.1.22)."""
    try:
        return at_commands.registered("CEREG", await talk.ask("AT+CEREG?"))
    except _Refused:
        return False


def _read(kept: at_commands.Kept) -> Received:
    try:
        came = delivered(kept.digits)
    except ValueError:
        return Received(index=kept.index, phone=None, text=kept.digits, stamp="")
    return Received(index=kept.index, phone=came.phone, text=came.text, stamp=came.stamp)


def _shown(signal: int | None) -> str:
    return "not known" if signal is None else f"{signal} of 31"
