"""A real SMTP server that keeps what it is given and refuses whom it is told to refuse."""

from __future__ import annotations

import socket
from collections.abc import Iterator
from contextlib import contextmanager
from email import message_from_bytes, policy
from email.message import EmailMessage
from typing import Any

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, AuthResult


class Letterbox:
    """The handler that aiosmtpd calls."""

    def __init__(self) -> None:
        self.letters: list[EmailMessage] = []
        self.receivers: list[list[str]] = []
        self.refused: dict[str, str] = {}
        self.answer = "250 2.0.0 kept"
        self.port = 0

    async def handle_RCPT(  # noqa: N802 - the name that aiosmtpd calls
        self, _server: SMTP, _session: Any, envelope: Any, address: str, _options: list[str]
    ) -> str:
        if address in self.refused:
            return self.refused[address]
        envelope.rcpt_tos.append(address)
        return "250 2.1.5 known"

    async def handle_DATA(self, _server: SMTP, _session: Any, envelope: Any) -> str:  # noqa: N802
        if self.answer.startswith("250"):
            letter = message_from_bytes(envelope.content, policy=policy.default)
            assert isinstance(letter, EmailMessage)
            self.letters.append(letter)
            self.receivers.append(list(envelope.rcpt_tos))
        return self.answer


def _nobody(*_: Any) -> AuthResult:
    """Refuse every password. ``handled`` must be False, or aiosmtpd leaves the client without an answer."""
    return AuthResult(success=False, handled=False)


@contextmanager
def mail_server(**options: Any) -> Iterator[Letterbox]:
    box = Letterbox()
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        box.port = probe.getsockname()[1]
    controller = Controller(box, hostname="127.0.0.1", port=box.port, authenticator=_nobody, **options)
    controller.start()
    try:
        yield box
    finally:
        controller.stop()
