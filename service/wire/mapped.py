"""What a message of another device says, read as the sources file declares it."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any, Final

from jsonpointer import JsonPointer, JsonPointerException

from rules.model import CONTACTS, SECOND_MS, Instant, ProbeId
from service.messages import Decoded, Incoming, Reason
from service.wire.bare import parse_number, parse_state
from service.wire.gathering import Gathering
from service.wire.plausible import check_time
from service.wire.sources import Source, TimeAt, TimeForm, ValueAt
from service.wire.syntax import number_of, parse_json, read_text
from service.wire.unusable import UnusableError, quoted

_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
_LARGEST_TIME: Final = 1e15
_ABSENT: Final = object()


def decode_mapped(source: Source, probe: ProbeId, incoming: Incoming) -> Decoded:
    """Decode a message of a mapped device."""
    gathering = Gathering()
    gathering.hear(probe)
    try:
        document = _document(source, incoming.payload)
        at_ms = None if source.time is None else _time(source.time, document)
        if at_ms is not None:
            check_time(at_ms, incoming.received_ms)
    except UnusableError as error:
        gathering.reject(error, probe)
        return gathering.decoded()
    if at_ms is None and incoming.retained:
        gathering.odd(Reason.RETAINED.value)
        return gathering.decoded()
    if at_ms is None and source.time is not None:
        # A device that has lost its clock often leaves the time out; the value is still news.
        gathering.odd("time missing, time received stands in")
    found = [(value, _at(document, value.at)) for value in source.values]
    if all(seen is _ABSENT for _, seen in found):
        places = ", ".join(value.at for value in source.values)
        gathering.reject(UnusableError(Reason.MISSING, f"nothing at {quoted(places)}"), probe)
    else:
        for value, seen in found:
            _gather(gathering, value, seen, probe=probe, received_ms=incoming.received_ms, at_ms=at_ms)
    return gathering.decoded()


def _document(source: Source, payload: bytes) -> Any:
    """Parse the message; where the one value is the whole message, keep the bare text that it may be."""
    return read_text(payload) if source.values[0].at == "" else parse_json(payload)


def _time(time: TimeAt, document: Any) -> Instant | None:
    """Return the time measured; None when it is not there."""
    seen = _at(document, time.at)
    if seen is _ABSENT or seen is None:
        return None
    try:
        return _iso_8601(seen) if time.form is TimeForm.ISO_8601 else _unix(seen, time.form)
    except UnusableError as error:
        raise UnusableError(Reason.TIME_RANGE, f"time is {quoted(seen)}: {error.detail}") from error


def _unix(seen: object, form: TimeForm) -> Instant:
    number = _number(seen) * (SECOND_MS if form is TimeForm.SECONDS else 1)
    if not abs(number) <= _LARGEST_TIME:
        raise UnusableError(Reason.TIME_RANGE, "too large")
    return round(number)


def _iso_8601(seen: object) -> Instant:
    if not isinstance(seen, str):
        raise UnusableError(Reason.TIME_RANGE, "not text")
    try:
        moment = datetime.fromisoformat(seen)
    except ValueError as error:
        raise UnusableError(Reason.TIME_RANGE, "not ISO 8601") from error
    if moment.tzinfo is None:
        raise UnusableError(Reason.TIME_RANGE, "no offset from UTC")
    return (moment - _EPOCH) // timedelta(milliseconds=1)


def _gather(
    gathering: Gathering,
    value: ValueAt,
    seen: object,
    *,
    probe: ProbeId,
    received_ms: Instant,
    at_ms: Instant | None,
) -> None:
    if seen is _ABSENT:
        gathering.odd(f"{value.quantity} missing")
        return
    try:
        number = _state(seen) if value.quantity in CONTACTS else _number(seen)
        moment, timed = (received_ms, False) if at_ms is None else (at_ms, True)
        gathering.keep(probe, value.quantity, number, value.unit, moment, timed=timed)
    except UnusableError as error:
        named = UnusableError(error.reason, f"{value.quantity} at {quoted(value.at)}: {error.detail}")
        gathering.reject(named, probe)


def _number(seen: object) -> float:
    """Read a number, or a number as text: many small devices write "21.4"."""
    return parse_number(seen) if isinstance(seen, str) else number_of(seen)


def _state(seen: object) -> float:
    if isinstance(seen, bool):
        return float(seen)
    return parse_state(seen) if isinstance(seen, str) else number_of(seen)


def _at(document: Any, pointer: str) -> object:
    try:
        found: object = JsonPointer(pointer).resolve(document)
    except JsonPointerException:
        return _ABSENT
    return found
