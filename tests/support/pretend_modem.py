"""A modem at the other end of a pseudo-terminal, with a card, a network, and bad days.

It reads the texts it is given by code of its own (bit strings, and the gsm0338 codec), not by ours.
"""

from __future__ import annotations

import os
import pty
import re
import select
import threading
import tty
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path

import gsm0338

_CODEC = gsm0338.Codec()


@dataclass
class PretendModem:
    """What it is like, and what it has been given. Everything may be changed while it runs."""

    device: Path
    """A link to where it is plugged in now."""
    card: str = "+CPIN: READY"
    network: str = "+CREG: 0,1"
    lte: str = "+CEREG: 0,0"
    signal: str = "+CSQ: 17,99"
    refusal: str = ""
    """Said in place of +CMGS, such as "+CMS ERROR: 38"."""
    prompt_refusal: str = ""
    """Said in place of the prompt."""
    between: list[str] = field(default_factory=list)
    """Lines that it says by itself, before every line of an answer."""
    in_pieces: bool = False
    """Say everything a byte at a time."""
    lost_words: int = 0
    """How many commands it sleeps through."""
    silent: bool = False
    hang_up_at_sending: bool = False
    echo: bool = True
    kept: dict[int, str] = field(default_factory=dict)
    """Texts in its memory: index to digits."""
    texts: list[tuple[str, str]] = field(default_factory=list)
    """Phone and text of what was sent."""
    asked: list[str] = field(default_factory=list)
    _master: int = -1
    _stop: threading.Event = field(default_factory=threading.Event)
    _thread: threading.Thread | None = None

    def plug_in(self) -> None:
        master, slave = pty.openpty()
        tty.setraw(slave)
        self.device.unlink(missing_ok=True)
        self.device.symlink_to(os.ttyname(slave))
        self._master = master
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, args=(master, slave, self._stop))
        self._thread.start()

    def pull_out(self) -> None:
        if self._thread is not None:
            self._stop.set()
            self._thread.join()
            self._thread = None

    def _run(self, master: int, slave: int, stop: threading.Event) -> None:
        """``slave`` is held open, so that the line does not end between two conversations."""
        heard = b""
        try:
            while not stop.is_set():
                if select.select([master], [], [], 0.01)[0]:
                    heard = self._hear(heard + os.read(master, 4096))
        finally:
            for end in (slave, master):
                with suppress(OSError):
                    os.close(end)

    def _hear(self, heard: bytes) -> bytes:
        heard = heard.rpartition(b"\x1b")[2]
        while found := re.match(rb"([^\r\x1a]*)[\r\x1a]", heard):
            heard = heard[found.end() :]
            self._command(found[1].decode())
        return heard

    def _command(self, command: str) -> None:
        if self.lost_words or self.silent or not command:
            self.lost_words = max(self.lost_words - 1, 0)
            return
        self.asked.append(command)
        if self.echo:
            self._write(f"{command}\r".encode())
        if re.fullmatch(r"[0-9A-F]{20,}", command):
            self._take(command)
        elif command.startswith("AT+CMGS=") and not self.prompt_refusal:
            self._write(b"\r\n> ")
        else:
            self._say(*self._answer(command))

    def _answer(self, command: str) -> list[str]:
        name, _, value = command.partition("=")
        if name == "ATE0":
            self.echo = False
        if name == "AT+CMGD":
            del self.kept[int(value)]
        said = {
            "AT+CPIN?": [self.card],
            "AT+CREG?": [self.network],
            "AT+CEREG?": [self.lte],
            "AT+CSQ": [self.signal],
            "AT+CMGS": [self.prompt_refusal],
            "AT+CMGL": [line for index, digits in self.kept.items() for line in _about(index, digits)],
        }.get(name, [])
        return said if any("ERROR" in line for line in said) else [*said, "OK"]

    def _take(self, digits: str) -> None:
        if self.hang_up_at_sending:
            self._stop.set()
        elif self.refusal:
            self._say(self.refusal)
        else:
            self.texts.append(read_submit(digits))
            self._say(f"+CMGS: {len(self.texts)}", "OK")

    def _say(self, *lines: str) -> None:
        for line in lines:
            self._write("".join(f"\r\n{said}\r\n" for said in (*self.between, line)).encode())

    def _write(self, said: bytes) -> None:
        for place in range(0, len(said), 1 if self.in_pieces else len(said)):
            os.write(self._master, said[place : place + (1 if self.in_pieces else len(said))])


def _about(index: int, digits: str) -> list[str]:
    return [f"+CMGL: {index},1,,{len(digits) // 2 - 8}", digits]


def read_submit(digits: str) -> tuple[str, str]:
    """Phone and text of an SMS-SUBMIT with one octet of validity and the basic alphabet."""
    octets = bytes.fromhex(digits)
    assert octets[:3] == b"\x00\x11\x00", (
        "service centre of the card, SUBMIT with validity, reference by the modem"
    )
    length = octets[3]
    assert octets[4] == 0x91, "an international number"
    end = 5 + (length + 1) // 2
    phone = "".join(f"{octet & 15:x}{octet >> 4:x}" for octet in octets[5:end])[:length]
    assert octets[end : end + 2] == b"\0\0", "no protocol, basic alphabet"
    count, data = octets[end + 3], octets[end + 4 :]
    bits = "".join(f"{octet:08b}" for octet in reversed(data))
    codes = bytes(int(bits[len(bits) - 7 * (n + 1) : len(bits) - 7 * n], 2) for n in range(count))
    return f"+{phone}", _CODEC.decode(codes)[0]


@contextmanager
def pretend_modem(folder: Path) -> Iterator[PretendModem]:
    modem = PretendModem(device=folder / "modem")
    modem.plug_in()
    try:
        yield modem
    finally:
        modem.pull_out()
