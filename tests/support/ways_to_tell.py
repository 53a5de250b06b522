"""Every carrier with a real server behind it, and how to make that server do things."""

from __future__ import annotations

import asyncio
import getpass
import socket
from collections.abc import AsyncIterator, Callable, Mapping, Sequence
from contextlib import AbstractAsyncContextManager, ExitStack, asynccontextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final, TypeAlias

import httpx

from service.notifications.carriers.either import Either
from service.notifications.carriers.lamp import LampCarrier, LampTopic
from service.notifications.carriers.mail import MailCarrier, MailServer
from service.notifications.carriers.message import Carrier, Message
from service.notifications.carriers.modem import Modem, ModemLine
from service.notifications.carriers.outcome import Outcome
from service.notifications.carriers.text import TextCarrier, TextGateway
from service.notifications.carriers.voice import VoiceCarrier
from service.notifications.carriers.webhook import Receiver, WebhookCarrier
from service.notifications.carriers.wide import Targets, WideCarrier
from tests.support.broker import Broker
from tests.support.lamp_listener import lamp_listener
from tests.support.mail_server import mail_server
from tests.support.ports import LOOPBACK, free_port
from tests.support.pretend_modem import pretend_modem
from tests.support.text_gateway import Answer, PretendGateway, pretend_gateway

SECRET: Final = "s3cret-of-sixteen"
MESSAGE: Final = Message(
    to="+12025550143",
    text="House 3: humidity 81%.",
    key="k-1",
    at_ms=1_795_590_000_000,
    subject="Night",
    kind="trouble",
    facts={"room": "House 3", "side": "low"},
)
_PATIENT_S: Final = 20.0

AtPort: TypeAlias = Callable[[int, float], Carrier]
"""The same carrier towards another port, with a time-out in seconds."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """One carrier with the server behind it."""

    carrier: Carrier
    message: Message
    received: Callable[[int], Sequence[str]]
    """What tells one message from another, of each that came; waits until there are so many."""
    refuse_for_ever: Callable[[], None] | None
    refuse_for_now: Callable[[], None]
    nobody_there: Callable[[], Carrier]
    says_nothing: Callable[[float], Carrier]
    """The carrier towards one that takes the connection and is silent, with a time-out in seconds."""
    hangs_up: Callable[[], AbstractAsyncContextManager[Carrier]]
    says_why: bool = True


def _over_tcp(stack: ExitStack, at_port: AtPort) -> dict[str, Callable[..., object]]:
    """The bad servers that every way over a network can meet."""

    def silent(timeout_s: float) -> Carrier:
        listening = stack.enter_context(socket.socket())
        listening.bind((LOOPBACK, 0))
        listening.listen()
        return at_port(listening.getsockname()[1], timeout_s)

    @asynccontextmanager
    async def hangs_up() -> AsyncIterator[Carrier]:
        async def hang_up(_: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            writer.close()
            await writer.wait_closed()

        async with await asyncio.start_server(hang_up, LOOPBACK, 0) as server:
            yield at_port(server.sockets[0].getsockname()[1], _PATIENT_S)

    return {
        "nobody_there": lambda: at_port(free_port(), _PATIENT_S),
        "says_nothing": silent,
        "hangs_up": hangs_up,
    }


def _by_http(stack: ExitStack, at_port: AtPort, told_by: Callable[[PretendGateway], list[str]]) -> Way:
    server = stack.enter_context(pretend_gateway())

    def refuse(status: int) -> None:
        server.answer = Answer(status=status, body=f"no\r\n {SECRET}".encode())

    return Way(
        carrier=at_port(server.server_address[1], _PATIENT_S),
        message=MESSAGE,
        received=lambda _: told_by(server),
        refuse_for_ever=lambda: refuse(410),
        refuse_for_now=lambda: refuse(503),
        **_over_tcp(stack, at_port),  # type: ignore[arg-type]
    )


def _keys(server: PretendGateway) -> list[str]:
    return [asked.headers["Idempotency-Key"] for asked in server.asked]


def _gateway(port: int, timeout_s: float) -> TextGateway:
    return TextGateway(
        url=f"http://{LOOPBACK}:{port}/",
        body="form",
        fields={"t": "{text}"},
        headers={"Authorization": f"Bearer {SECRET}"},
        timeout_s=timeout_s,
    )


def text(stack: ExitStack, client: httpx.AsyncClient, _folder: Path) -> Way:
    return _by_http(stack, lambda port, timeout_s: TextCarrier(_gateway(port, timeout_s), client), _keys)


def voice(stack: ExitStack, client: httpx.AsyncClient, _folder: Path) -> Way:
    return _by_http(stack, lambda port, timeout_s: VoiceCarrier(_gateway(port, timeout_s), client), _keys)


def webhook(stack: ExitStack, client: httpx.AsyncClient, _folder: Path) -> Way:
    def at_port(port: int, timeout_s: float) -> Carrier:
        url = f"http://{LOOPBACK}:{port}/"
        return WebhookCarrier(Receiver(url=url, secret=SECRET, sender="f", timeout_s=timeout_s), client)

    return _by_http(stack, at_port, _keys)


def webhook_in_cap(stack: ExitStack, client: httpx.AsyncClient, _folder: Path) -> Way:
    def at_port(port: int, timeout_s: float) -> Carrier:
        url = f"http://{LOOPBACK}:{port}/"
        receiver = Receiver(url=url, secret=SECRET, sender="f", body="cap", timeout_s=timeout_s)
        return WebhookCarrier(receiver, client)

    return _by_http(stack, at_port, _keys)


def wide(stack: ExitStack, _client: httpx.AsyncClient, _folder: Path) -> Way:
    """The library says yes or no, and not why; it has no room for a key."""

    def at_port(port: int, timeout_s: float) -> Carrier:
        url = f"json://name:{SECRET}@{LOOPBACK}:{port}/"
        return WideCarrier(Targets(urls=[url], hosts_inside=frozenset({LOOPBACK}), timeout_s=timeout_s))

    def said(server: PretendGateway) -> list[str]:
        return [asked.body.decode() for asked in server.asked]

    return replace(_by_http(stack, at_port, said), refuse_for_ever=None, says_why=False)


def mail(stack: ExitStack, _client: httpx.AsyncClient, _folder: Path) -> Way:
    box = stack.enter_context(mail_server())

    def refuse(answer: str) -> None:
        box.answer = answer

    def at_port(port: int, timeout_s: float) -> Carrier:
        server = MailServer(host=LOOPBACK, port=port, sender="f@example.org", security="none", timeout_s=timeout_s)
        return MailCarrier(server)

    return Way(
        carrier=at_port(box.port, _PATIENT_S),
        message=replace(MESSAGE, to="ines@example.org", image=b"\x89PNG", image_alt="Humidity"),
        received=lambda _: [letter["Message-ID"] for letter in box.letters],
        refuse_for_ever=lambda: refuse("554 5.7.1 no"),
        refuse_for_now=lambda: refuse("451 4.3.0 later"),
        **_over_tcp(stack, at_port),  # type: ignore[arg-type]
    )


def lamp(stack: ExitStack, _client: httpx.AsyncClient, folder: Path) -> Way:
    """Nobody listening is a no for now, a broker that wants another name a no for ever."""
    broker, strict = Broker(folder), _strict_broker(folder)
    for each in (broker, strict):
        each.start()
        stack.callback(each.stop)
    listener = stack.enter_context(lamp_listener(broker, "yard/lamp"))
    changed: dict[str, Any] = {}

    def at_port(port: int, timeout_s: float) -> Carrier:
        lamp_topic = LampTopic(
            host=LOOPBACK, port=port, topic="yard/lamp", username="farm", password=SECRET, timeout_s=timeout_s
        )
        return _Lamps(lamp_topic, changed)

    def heard(count: int) -> list[str]:
        listener.until(count)
        return listener.keys

    return Way(
        carrier=at_port(broker.port, _PATIENT_S),
        message=MESSAGE,
        received=heard,
        refuse_for_ever=lambda: changed.update(port=strict.port),
        refuse_for_now=lambda: changed.update(topic="yard/elsewhere"),
        **_over_tcp(stack, at_port),  # type: ignore[arg-type]
    )


@dataclass(frozen=True, slots=True)
class _Lamps:
    """A lamp whose settings can be changed, as an administrator would."""

    lamp: LampTopic
    changed: Mapping[str, Any]

    async def carry(self, message: Message) -> Outcome:
        return await LampCarrier(replace(self.lamp, **self.changed)).carry(message)


def _strict_broker(folder: Path) -> Broker:
    """One that lets nobody in."""
    config, port = folder / "strict.conf", free_port()
    config.write_text(f"listener {port} {LOOPBACK}\nallow_anonymous false\nuser {getpass.getuser()}\n")
    return Broker(folder, port=port, config=config)


def modem(stack: ExitStack, _client: httpx.AsyncClient, folder: Path) -> Way:
    other = stack.enter_context(pretend_modem(folder))

    def ours(device: Path, timeout_s: float) -> Carrier:
        return Modem(ModemLine(device=device, timeout_s=timeout_s))

    def refuse(status: int) -> None:
        other.refusal = f"+CMS ERROR: {status}"

    def silent(timeout_s: float) -> Carrier:
        other.silent = True
        return ours(other.device, timeout_s)

    @asynccontextmanager
    async def hangs_up() -> AsyncIterator[Carrier]:
        other.hang_up_at_sending = True
        yield ours(other.device, _PATIENT_S)

    return Way(
        carrier=ours(other.device, 60),
        message=MESSAGE,
        received=lambda _: [sent for _, sent in other.texts],
        refuse_for_ever=lambda: refuse(28),
        refuse_for_now=lambda: refuse(38),
        nobody_there=lambda: ours(folder / "nothing", _PATIENT_S),
        says_nothing=silent,
        hangs_up=hangs_up,
    )


def gateway_and_modem(stack: ExitStack, client: httpx.AsyncClient, folder: Path) -> Way:
    """A gateway that is down, and the modem in its place: outwardly one way."""
    by_modem = modem(stack, client, folder)
    down = TextCarrier(_gateway(free_port(), 0.3), client)

    @asynccontextmanager
    async def hangs_up() -> AsyncIterator[Carrier]:
        async with by_modem.hangs_up() as carrier:
            yield Either(down, carrier)

    def both_down() -> Carrier:
        return Either(down, by_modem.nobody_there())

    return replace(
        by_modem,
        carrier=Either(down, by_modem.carrier),
        refuse_for_ever=None,
        nobody_there=both_down,
        says_nothing=lambda timeout_s: Either(down, by_modem.says_nothing(timeout_s)),
        hangs_up=hangs_up,
        says_why=False,
    )


WAYS: Final[Mapping[str, Callable[[ExitStack, httpx.AsyncClient, Path], Way]]] = {
    "text": text,
    "modem": modem,
    "gateway and modem": gateway_and_modem,
    "voice": voice,
    "mail": mail,
    "webhook": webhook,
    "webhook in CAP": webhook_in_cap,
    "lamp": lamp,
    "wide": wide,
}
