"""SenML (RFC 8428): base values resolved, times made absolute, records in order of time.

Knows nothing of probes or quantities; ``packs`` reads those into the result. What spoils the whole pack raises;
what spoils one record is set beside the good ones.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from rules.model import SECOND_MS, Instant
from service.messages import Reason
from service.wire.syntax import finite, number_of
from service.wire.unusable import UnusableError, quoted

RECORDS: Final = 10_000
VERSION: Final = 10
VERSION_WITH_SECONDARY_UNITS: Final = 26
"""RFC 9100: above 10 the version is 10 plus one bit per feature; secondary units are bit 4."""

FIRST_ABSOLUTE_S: Final = 2**28
"""RFC 8428 sec. 4.5.3: a time below this many seconds is counted from now."""

_LAST_S: Final = 10**12
"""Seconds that still fit 64-bit milliseconds with ease; milliseconds sent as seconds do not get past it."""

_NAME: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9\-:./_]*")  # RFC 8428 sec. 4.5.1
_CBOR_LABELS: Final = dict(
    enumerate(("bs", "bv", "bu", "bt", "bn", "bver", "n", "u", "v", "vs", "vb", "s", "t", "ut", "vd"), start=-6)
)  # RFC 8428 sec. 6
_VALUES: Final = ("v", "vb", "vs", "vd")
_OF_ONE_RECORD: Final = frozenset({*_VALUES, "n", "u", "t", "s", "ut"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """One resolved record. ``value`` is a finite float, a bool, or text that was sent as text."""

    name: str
    unit: str | None
    at_ms: int
    counted_from_now: bool
    """The time was relative, or absent: it leans on when we received the pack."""
    value: float | bool | str


@dataclass(frozen=True, slots=True, kw_only=True)
class Broken:
    """A record that could not be resolved, with its name where it had a possible one."""

    name: str
    error: UnusableError


@dataclass(frozen=True, slots=True, kw_only=True)
class Pack:
    """A resolved pack. The records are in order of time."""

    version: int
    records: tuple[Record, ...]
    broken: tuple[Broken, ...]


@dataclass(slots=True, kw_only=True)
class _Base:
    name: str = ""
    time_s: float = 0.0
    unit: str | None = None
    value: float = 0.0


@dataclass(slots=True, kw_only=True)
class _Resolving:
    received_ms: Instant
    base: _Base = field(default_factory=_Base)
    records: list[Record] = field(default_factory=list)
    broken: list[Broken] = field(default_factory=list)


def resolve(pack: object, *, received_ms: Instant) -> Pack:
    """Resolve a parsed pack (JSON or CBOR) that was received at this moment.

    Raises:
        UnusableError: not a pack, too many records, a version or must-understand label we do not know, or a
            base field that cannot be read (every later record leans on it).
    """
    if not isinstance(pack, list | tuple):
        raise UnusableError(Reason.PACK, "a pack is an array of records")
    if not pack:
        raise UnusableError(Reason.EMPTY, "a pack without records")
    if len(pack) > RECORDS:
        raise UnusableError(Reason.TOO_LARGE, f"{len(pack)} records, at most {RECORDS}")
    labelled = [_labelled(record) for record in pack]
    version = _version([record for record in labelled if record is not None])
    resolving = _Resolving(received_ms=received_ms)
    for record in labelled:
        _resolve_one(resolving, record)
    resolving.records.sort(key=lambda record: record.at_ms)
    return Pack(version=version, records=tuple(resolving.records), broken=tuple(resolving.broken))


def _labelled(record: object) -> dict[object, Any] | None:
    """Give CBOR's number labels their JSON names; None when the record is no map."""
    if not isinstance(record, Mapping):
        return None
    labelled: dict[object, Any] = {}
    for key, value in record.items():
        label = _CBOR_LABELS.get(key, key) if type(key) is int else key
        if isinstance(label, str) and label.endswith("_"):
            raise UnusableError(Reason.PACK, f"label {quoted(label)} must be understood, and is not")
        labelled[label] = value
    return labelled


def _version(records: list[dict[object, Any]]) -> int:
    """Return the one version of a pack (RFC 8428 sec. 4.4, RFC 9100 sec. 2.2)."""
    said = [record["bver"] for record in records if "bver" in record]
    if any(type(version) is not int for version in said):
        raise UnusableError(Reason.PACK_VERSION, quoted(said))
    if len(set(said)) > 1:
        raise UnusableError(Reason.PACK, "records of different versions in one pack")
    version: int = said[0] if said else VERSION
    if not 1 <= version <= VERSION and version != VERSION_WITH_SECONDARY_UNITS:
        raise UnusableError(Reason.PACK_VERSION, quoted(version))
    return version


def _resolve_one(resolving: _Resolving, record: dict[object, Any] | None) -> None:
    if record is None:
        error = UnusableError(Reason.PACK, "a record is a map of labels")
        resolving.broken.append(Broken(name="", error=error))
        return
    _rebase(resolving.base, record)
    if not _OF_ONE_RECORD & record.keys():
        return  # only base fields, for the records that follow
    name = _name(resolving.base, record)
    try:
        resolving.records.append(_record(resolving, record, name))
    except UnusableError as error:
        resolving.broken.append(Broken(name=name if is_name(name) else "", error=error))


def _rebase(base: _Base, record: dict[object, Any]) -> None:
    base.name = _base_text(record, "bn", base.name) or ""
    base.unit = _base_text(record, "bu", base.unit)
    base.time_s = _base_number(record, "bt", base.time_s)
    base.value = _base_number(record, "bv", base.value)


def _base_text(record: dict[object, Any], label: str, before: str | None) -> str | None:
    text = record.get(label, before)
    if text is not None and not isinstance(text, str):
        raise UnusableError(Reason.PACK, f"{label} is not text")
    return text


def _base_number(record: dict[object, Any], label: str, before: float) -> float:
    try:
        return number_of(record.get(label, before))
    except UnusableError as error:
        raise UnusableError(Reason.PACK, f"{label} is {error}") from error


def _name(base: _Base, record: dict[object, Any]) -> str:
    own = record.get("n", "")
    return base.name + own if isinstance(own, str) else ""


def _record(resolving: _Resolving, record: dict[object, Any], name: str) -> Record:
    if not is_name(name):
        raise UnusableError(Reason.NAME, quoted(name))
    unit = record.get("u", resolving.base.unit)
    if unit is not None and not isinstance(unit, str):
        raise UnusableError(Reason.UNIT, "the unit is not text")
    time_s = _time_s(record, resolving.base)
    from_now = time_s < FIRST_ABSOLUTE_S
    return Record(
        name=name,
        unit=unit,
        at_ms=round(time_s * SECOND_MS) + (resolving.received_ms if from_now else 0),
        counted_from_now=from_now,
        value=_value(record, resolving.base),
    )


def is_name(name: str) -> bool:
    """Say whether RFC 8428 sec. 4.5.1 allows a resolved name."""
    return _NAME.fullmatch(name) is not None


def _time_s(record: dict[object, Any], base: _Base) -> float:
    try:
        time_s = number_of(record.get("t", 0.0)) + base.time_s
    except UnusableError as error:
        raise UnusableError(Reason.TIME_RANGE, f"t is {error}") from error
    if not abs(time_s) <= _LAST_S:
        raise UnusableError(Reason.TIME_RANGE, f"{time_s:g} s; milliseconds in place of seconds?")
    return time_s


def _value(record: dict[object, Any], base: _Base) -> float | bool | str:
    match [label for label in _VALUES if label in record]:
        case []:
            raise UnusableError(Reason.MISSING, "no value in the record")
        case ["v"]:
            return finite(number_of(record["v"]) + base.value)
        case ["vb"] if isinstance(record["vb"], bool):
            return record["vb"]
        case ["vs" as label] | ["vd" as label]:
            return quoted(record[label])
        case labels:
            raise UnusableError(Reason.NOT_A_NUMBER, f"{' and '.join(labels)}: not one readable value")
