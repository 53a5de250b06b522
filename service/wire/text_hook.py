"""What a text gateway says to us: texts that people sent, and what became of texts of ours. Pure.

How its messages look is said by the administrator: JSON Pointers (RFC 6901), or the names of form fields. A
message that cannot be used becomes a ``Rejected``, and its neighbours count all the same.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Final, Literal, TypeAlias
from urllib.parse import parse_qs

from jsonpointer import JsonPointer, JsonPointerException

from rules.model import MINUTE_MS, SECOND_MS, Instant
from service.messages import Reason, Rejected
from service.wire.syntax import parse_json, read_text
from service.wire.unusable import UnusableError, quoted

Receipt: TypeAlias = Literal["delivered", "failed", "on its way"]
TimeForm: TypeAlias = Literal["iso 8601", "seconds", "milliseconds"]

MOST_LETTERS: Final = 1600
"""Ten texts joined. What is longer was not written by thumb."""
_MOST_PHONE: Final = 40
_MOST_ID: Final = 200
_MOST_FIELDS: Final = 200
_MOST_AT_ONCE: Final = 500
_LARGEST_TIME: Final = 1e15


@dataclass(frozen=True, slots=True, kw_only=True)
class Places:
    """Where in a message of the gateway what is found."""

    form: bool = False
    """Form fields by name, instead of JSON Pointers."""
    each: str = ""
    """Where the list of messages is, in JSON; "" where the body is one message or a list of them."""
    sender: str = "/from"
    text: str = "/text"
    id: str = "/id"
    time: str | None = None
    time_form: TimeForm = "iso 8601"
    receipt_id: str = "/id"
    receipt_status: str = "/status"
    receipts: Mapping[str, Receipt] = field(default_factory=dict)
    """What the gateway's words for the state of a text mean; capitals do not matter."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TextCame:
    """One text that somebody sent."""

    inbound_id: str
    phone: str
    text: str
    sent_ms: Instant | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ReceiptCame:
    """What became of one text of ours."""

    gateway_ref: str
    receipt: Receipt | None
    """``None`` for a state that nobody gave a meaning."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Came:
    """All that one body said."""

    texts: tuple[TextCame, ...] = ()
    receipts: tuple[ReceiptCame, ...] = ()
    rejected: tuple[Rejected, ...] = ()


def read_texts(body: bytes, places: Places, *, received_ms: Instant) -> Came:
    """The texts in a body."""
    texts, rejected = [], []
    try:
        for message in _messages(body, places):
            try:
                texts.append(_text(message, places, received_ms))
            except UnusableError as error:
                rejected.append(Rejected(reason=error.reason, detail=error.detail))
    except UnusableError as error:
        rejected.append(Rejected(reason=error.reason, detail=error.detail))
    return Came(texts=tuple(texts), rejected=tuple(rejected))


def read_receipts(body: bytes, places: Places) -> Came:
    """What a body says of texts of ours."""
    receipts, rejected = [], []
    try:
        for message in _messages(body, places):
            try:
                receipts.append(_receipt(message, places))
            except UnusableError as error:
                rejected.append(Rejected(reason=error.reason, detail=error.detail))
    except UnusableError as error:
        rejected.append(Rejected(reason=error.reason, detail=error.detail))
    return Came(receipts=tuple(receipts), rejected=tuple(rejected))


def natural_id(phone: str, text: str, at_ms: Instant) -> str:
    """The name of a text to which the gateway gave none: the same words from the same phone in the same minute."""
    said = f"{phone}\n{text}\n{at_ms // MINUTE_MS}"
    return "no-id-" + hashlib.sha256(said.encode()).hexdigest()[:32]


def _messages(body: bytes, places: Places) -> Iterator[Any]:
    if places.form:
        yield _form(body)
        return
    found = _at(parse_json(body), places.each)
    if found is None:
        raise UnusableError(Reason.MISSING, f"no messages at {quoted(places.each)}")
    if not isinstance(found, list):
        yield found
        return
    if len(found) > _MOST_AT_ONCE:
        raise UnusableError(Reason.TOO_LARGE, f"{len(found)} messages in one body")
    yield from found


def _form(body: bytes) -> dict[str, str]:
    """The fields of a form; one that stands there twice says nothing."""
    try:
        found = parse_qs(read_text(body), keep_blank_values=True, errors="strict", max_num_fields=_MOST_FIELDS)
    except ValueError as error:
        raise UnusableError(Reason.NOT_TEXT, f"not a form: {quoted(str(error))}") from error
    return {name: values[0] for name, values in found.items() if len(values) == 1}


def _text(message: Any, places: Places, received_ms: Instant) -> TextCame:
    phone = _needed(message, places, places.sender, _MOST_PHONE)
    text = _words(message, places, places.text)
    if text is None:
        raise UnusableError(Reason.MISSING, f"no text at {quoted(places.text)}")
    text = text[:MOST_LETTERS]
    sent_ms = None if places.time is None else _time(_raw(message, places, places.time), places.time_form)
    given = _words(message, places, places.id)
    named = _bounded_id(given) if given else natural_id(phone, text, received_ms if sent_ms is None else sent_ms)
    return TextCame(inbound_id=named, phone=phone, text=text, sent_ms=sent_ms)


def _receipt(message: Any, places: Places) -> ReceiptCame:
    ref = _needed(message, places, places.receipt_id, _MOST_ID)
    status = _needed(message, places, places.receipt_status, _MOST_ID)
    known = {word.casefold(): receipt for word, receipt in places.receipts.items()}
    return ReceiptCame(gateway_ref=ref, receipt=known.get(status.casefold()))


def _needed(message: Any, places: Places, at: str, most: int) -> str:
    found = (_words(message, places, at) or "").strip()
    if not found:
        raise UnusableError(Reason.MISSING, f"nothing at {quoted(at)}")
    if len(found) > most:
        raise UnusableError(Reason.TOO_LARGE, f"{len(found)} letters at {quoted(at)}")
    return found


def _words(message: Any, places: Places, at: str) -> str | None:
    """What stands there as text a database can hold: no NUL, no half of a pair of surrogates."""
    found = _raw(message, places, at)
    if isinstance(found, bool) or not isinstance(found, str | int):
        return None
    try:
        return str(found).replace("\0", "").encode("utf-8", "replace").decode()
    except ValueError:  # an integer of more than 4300 digits
        return None


def _raw(message: Any, places: Places, at: str) -> Any:
    if places.form:
        return message.get(at)
    return _at(message, at)


def _at(document: Any, pointer: str) -> Any:
    try:
        return JsonPointer(pointer).resolve(document)
    except JsonPointerException:
        return None


def _bounded_id(given: str) -> str:
    return given if len(given) <= _MOST_ID else "long-" + hashlib.sha256(given.encode()).hexdigest()


def _time(seen: Any, form: TimeForm) -> Instant | None:
    """When a text was sent; ``None`` where that cannot be understood, which is no reason to lose the text."""
    if form == "iso 8601":
        return _iso_8601(seen)
    try:
        number = float(seen) * (SECOND_MS if form == "seconds" else 1)
    except (TypeError, ValueError, OverflowError):
        return None
    return round(number) if 0 < number <= _LARGEST_TIME else None


def _iso_8601(seen: Any) -> Instant | None:
    try:
        moment = datetime.fromisoformat(seen)
        return None if moment.tzinfo is None else round(moment.timestamp() * SECOND_MS)
    except (TypeError, ValueError, OverflowError):
        return None
