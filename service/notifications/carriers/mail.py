"""A mail by SMTP: plain text always, the same as HTML beside it, and the room's last hours as a picture.

``facts["link"]`` of a message is where it can be answered; the mail shows it as a button.
"""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from email.errors import MessageError
from email.headerregistry import Address
from email.message import EmailMessage
from email.utils import format_datetime, getaddresses, parseaddr
from hashlib import sha256
from typing import Final, Literal

import aiosmtplib

from service.errors import SetupError
from service.notifications.carriers.detail import detail
from service.notifications.carriers.message import Message
from service.notifications.carriers.outcome import Accepted, Outcome, Refused, Unreachable
from service.wording.mail_html import CHART, mail_html, plain_with_link, with_picture

_SECOND_MS: Final = 1000
_NOT_AN_ADDRESS: Final = 553
"""RFC 5321 "mailbox name not allowed": said by us when nothing in ``to`` can be an address."""
_NOT_OFFERED: Final = 502
"""RFC 5321 "command not implemented": the server lacks what the settings ask for, such as STARTTLS."""
_PASSING: Final = range(400, 500)


@dataclass(frozen=True, slots=True, kw_only=True)
class MailServer:
    """Where mail is handed in, and as whom."""

    host: str
    port: int
    sender: str
    """The address that mail comes from, with a name if wanted: ``Farm <farm@example.org>``."""
    security: Literal["none", "starttls", "tls"] = "starttls"
    username: str | None = None
    password: str | None = field(default=None, repr=False)
    timeout_s: float = 20.0

    def __post_init__(self) -> None:
        """Refuse what could only fail at night.

        Raises:
            SetupError: the sender is no mail address, or a password would travel in the clear.
        """
        if _address(*parseaddr(self.sender)) is None:
            raise SetupError("the mail sender must be a mail address")
        if self.password and self.security == "none":
            raise SetupError("a mail password needs security starttls or tls")


class MailCarrier:
    """Sends mail through one server, one connection to a message."""

    def __init__(self, server: MailServer) -> None:
        self._server = server

    async def carry(self, message: Message) -> Outcome:
        receivers = _addresses(message.to)
        if not receivers:
            return Refused(protocol="smtp", status=_NOT_AN_ADDRESS, detail="not a mail address")
        try:
            letter = _letter(message, self._server.sender, receivers)
        except (ValueError, MessageError) as trouble:
            return Refused(protocol="smtp", status=_NOT_AN_ADDRESS, detail=self._detail(str(trouble)))
        return await self._send(letter, [receiver.addr_spec for receiver in receivers])

    async def _send(self, letter: EmailMessage, receivers: Sequence[str]) -> Outcome:
        try:
            async with asyncio.timeout(self._server.timeout_s):
                refused, said = await self._hand_in(letter, receivers)
        except TimeoutError:
            return Unreachable(detail=f"no answer within {self._server.timeout_s:g} s")
        except (aiosmtplib.SMTPException, OSError, ValueError) as trouble:
            return self._failed(trouble)
        reasons = tuple(self._detail(f"{to}: {why.code} {why.message}") for to, why in refused.items())
        return Accepted(detail=self._detail(said), refused=reasons)

    async def _hand_in(
        self, letter: EmailMessage, receivers: Sequence[str]
    ) -> tuple[dict[str, aiosmtplib.SMTPResponse], str]:
        server = self._server
        return await aiosmtplib.send(
            letter,
            recipients=list(receivers),
            hostname=server.host,
            port=server.port,
            username=server.username,
            password=server.password,
            use_tls=server.security == "tls",
            start_tls=server.security == "starttls",
            timeout=server.timeout_s,
        )

    def _failed(self, trouble: Exception) -> Outcome:
        words = self._detail(f"{type(trouble).__name__}: {trouble}")
        match trouble:
            case aiosmtplib.SMTPRecipientsRefused():
                return self._all_refused(trouble)
            case aiosmtplib.SMTPResponseException():
                return Refused(protocol="smtp", status=trouble.code, detail=words)
            case OSError():  # The library's connection and time-out errors are OSErrors too.
                return Unreachable(detail=words)
            case aiosmtplib.SMTPException():
                return Refused(protocol="smtp", status=_NOT_OFFERED, detail=words)
            case _:
                return Refused(protocol="smtp", status=_NOT_AN_ADDRESS, detail=words)

    def _all_refused(self, trouble: aiosmtplib.SMTPRecipientsRefused) -> Refused:
        """One address refused for now is reason enough to try again for all: none has had the mail."""
        answers = sorted(trouble.recipients, key=lambda each: (each.code not in _PASSING, each.code))
        said = "; ".join(f"{each.recipient}: {each.code} {each.message}" for each in answers)
        return Refused(protocol="smtp", status=answers[0].code, detail=self._detail(said))

    def _detail(self, said: str) -> str:
        return detail(said, [self._server.password or ""])


def _addresses(to: str) -> tuple[Address, ...]:
    if not to.isprintable():  # A line break would begin a header of its own.
        return ()
    found = (_address(name, spec) for name, spec in getaddresses([to]))
    return tuple(address for address in found if address is not None)


def _address(name: str, spec: str) -> Address | None:
    if spec.count("@") != 1 or spec.startswith("@") or spec.endswith("@"):
        return None
    try:
        return Address(display_name=" ".join(name.split()), addr_spec=spec)
    except (ValueError, MessageError):
        return None


def _letter(message: Message, sender: str, receivers: Sequence[Address]) -> EmailMessage:
    """The mail itself. Its identity comes from the key, so a second attempt is seen to be the same mail."""
    name, spec = parseaddr(sender)
    letter = EmailMessage()
    letter["From"] = Address(display_name=name, addr_spec=spec)
    letter["To"] = receivers
    letter["Subject"] = " ".join(message.subject.split()) or _first_line(message.text)
    letter["Date"] = format_datetime(datetime.fromtimestamp(message.at_ms / _SECOND_MS, UTC))
    identity = f"{sha256(message.key.encode()).hexdigest()[:40]}@{spec.rpartition('@')[2]}"
    letter["Message-ID"] = f"<{identity}>"
    letter["Auto-Submitted"] = "auto-generated"  # RFC 3834: no out-of-office answers to a machine.
    letter.set_content(plain_with_link(message.text, message.language, _link(message)))
    html = _html(message)
    if html is not None:
        _add_html(letter, html, message.image, f"chart-{identity}")
    return letter


def _html(message: Message) -> str | None:
    """The HTML that was written for it, or the text's own words; nothing for a mail that is only text."""
    alt = None if message.image is None else message.image_alt
    if message.html is not None:
        return message.html if alt is None else with_picture(message.html, alt)
    link = _link(message)
    if alt is None and link is None and not message.kind:
        return None
    return mail_html(message.text, message.language, alt=alt, link=link)


def _add_html(letter: EmailMessage, html: str, image: bytes | None, name: str) -> None:
    """Beside the text; with a picture, HTML and picture belong together (RFC 2387, RFC 2392)."""
    if image is None:
        letter.add_alternative(html, subtype="html")
        return
    letter.add_alternative(html.replace(CHART, f"cid:{name}"), subtype="html")
    rich = letter.get_body(["html"])
    if isinstance(rich, EmailMessage):
        rich.add_related(image, "image", "png", cid=f"<{name}>", filename="chart.png", disposition="inline")


def _link(message: Message) -> str | None:
    link = (message.facts or {}).get("link")
    return link if isinstance(link, str) and link.startswith(("https://", "http://")) else None


def _first_line(text: str) -> str:
    return " ".join(text.split())[:80]
