"""Whether answers can come in: by links, by the gateway's calls, by fetching them."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final
from urllib.parse import urlsplit

from service.app.finding import Finding
from service.app.texts_in import by_modem_alone, polled_gateway, text_hook
from service.errors import SetupError
from service.settings import Settings, TextInboundSettings, TextPollingSettings

LEAST_SECRET: Final = 16
"""Letters; fewer can be guessed (judgement)."""
_HERE: Final = frozenset({"127.0.0.1", "localhost", "::1"})


def check_answers(settings: Settings) -> Iterator[Finding]:
    """Look at everything that answers come in by."""
    yield _links(settings.public_url)
    if by_modem_alone(settings):
        yield Finding(subject="answers by text", says="come to the modem's own number")
    elif settings.text_inbound is None and settings.text_polling is None:
        yield Finding(
            subject="answers by text",
            says="nothing brings them in: texts say nothing of answering, and nobody's answer stops the next call",
        )
    if settings.text_inbound is not None:
        yield _hook(settings.text_inbound, settings.public_url)
    if settings.text_polling is not None:
        yield _polling(settings.text_polling)


def _links(public_url: str | None) -> Finding:
    if public_url is None:
        return Finding(subject="answers by link", says="no public_url is set: mails hold no link to answer by")
    parts = urlsplit(public_url)
    if parts.scheme not in {"http", "https"} or not parts.hostname:
        says = "public_url is no address such as https://farm.example"
        return Finding(subject="answers by link", says=says, would_lose=True)
    if parts.scheme == "http" and parts.hostname not in _HERE:
        says = "public_url is not https: whoever listens on the way can answer in somebody's name"
        return Finding(subject="answers by link", says=says, would_lose=True)
    return Finding(
        subject="answers by link",
        says=f"through {parts.hostname}; whatever asks for a sign-in there must let /a/ pass without one",
    )


def _hook(given: TextInboundSettings, public_url: str | None) -> Finding:
    secret = "" if given.secret is None else given.secret.get_secret_value()
    if not secret:
        says = "text_inbound has no secret: nothing proves that a call comes from the gateway, so none is taken"
        return Finding(subject="answers by text", says=says, would_lose=True)
    try:
        text_hook(given)
    except SetupError as error:
        return Finding(subject="answers by text", says=str(error), would_lose=True)
    if len(secret) < LEAST_SECRET:
        says = f"the secret of text_inbound has {len(secret)} letters; take {LEAST_SECRET} or more, by chance"
        return Finding(subject="answers by text", says=says, would_lose=True)
    return Finding(subject="answers by text", says=_proven(given, public_url))


def _proven(given: TextInboundSettings, public_url: str | None) -> str:
    said = f"the gateway calls {(public_url or '').rstrip('/')}/api/inbound/texts, proven by {given.proof}"
    if given.proof != "signature":
        return f"{said}; a signature would be better, where the gateway can sign"
    if given.time_header is None:
        return f"{said}; no time is signed, so only the text's id keeps a call from being repeated"
    return said


def _polling(given: TextPollingSettings) -> Finding:
    try:
        polled_gateway(given)
    except SetupError as error:
        return Finding(subject="fetching answers", says=str(error), would_lose=True)
    says = f"from {urlsplit(given.url).hostname} every {given.every_s:g} s, and not tried here"
    if given.since == "id" or given.time is not None:
        return Finding(subject="fetching answers", says=says)
    return Finding(
        subject="fetching answers",
        says=f"{says}; say where a text's time is (text_polling.time), or every list is asked for from the start",
    )
