"""The sources file: how the messages of other devices are read. TOML, one ``[[source]]`` per kind of message.

    [[source]]
    name = "packing hall gateway"
    topic = "hall/{gateway}/{probe}/state"                # {probe} stands for exactly one level
    time = { at = "/ts", form = "milliseconds" }          # or "seconds", "iso-8601"; leave out when there is none
    value = [
        { quantity = "temperature", at = "/temp", unit = "degF" },
        { quantity = "humidity", at = "/air/rh", unit = "%RH" },
        { quantity = "door", at = "/open" },
    ]

``at`` is a JSON Pointer (RFC 6901). The pointer "" is the message itself, which may then be a bare number. A topic
without ``{probe}`` needs ``probe = "id"``. Where a level names the gateway that passes the message on, write
``{gateway}`` for it: all probes behind a gateway that fell silent are then told as one. MQTT's + and # are not
offered: a level that may be anything would let two devices pass for one probe.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final

from jsonpointer import JsonPointer, JsonPointerException

from rules.model import CONTACTS, ProbeId, Quantity
from service.errors import SetupError
from service.wire.topics import PROBE_ID_RULE, is_topic_name, probe_id
from service.wire.units import declared_units_for

_PROBE: Final = "{probe}"
_GATEWAY: Final = "{gateway}"
_PLACES: Final = (_PROBE, _GATEWAY)


class SourcesError(SetupError):
    """The sources file cannot be used; says which file and which key."""

    def __init__(self, file: str, key: str, why: str) -> None:
        """Keep where and why."""
        super().__init__(f"{file}: {key}: {why}" if key else f"{file}: {why}")
        self.file = file
        self.key = key


class TimeForm(StrEnum):
    """How a device writes the time measured. Declared, never guessed."""

    SECONDS = "seconds"
    MILLISECONDS = "milliseconds"
    ISO_8601 = "iso-8601"


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeAt:
    """Where the time measured stands, and how it is written."""

    at: str
    form: TimeForm


@dataclass(frozen=True, slots=True, kw_only=True)
class ValueAt:
    """Where one value stands. A contact has no unit."""

    quantity: Quantity
    at: str
    unit: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """How the messages on one pattern of topics are read."""

    name: str
    topic: str
    probe: ProbeId | None
    time: TimeAt | None
    values: tuple[ValueAt, ...]

    @property
    def subscription(self) -> str:
        """The MQTT filter that brings these messages."""
        return "/".join("+" if level in _PLACES else level for level in self.topic.split("/"))

    def probe_in(self, topic: str) -> str | None:
        """Return what the topic says the probe is called, not yet known to be a possible id; None: not ours."""
        named = self._named_in(topic)
        return None if named is None else named.get(_PROBE, self.probe)

    def gateway_in(self, topic: str) -> str | None:
        """Return what a topic of ours says the gateway is called; None: it names none."""
        return (self._named_in(topic) or {}).get(_GATEWAY)

    def _named_in(self, topic: str) -> dict[str, str] | None:
        ours, theirs = self.topic.split("/"), topic.split("/")
        if len(ours) != len(theirs):
            return None
        # A wildcard never matches a first level that begins with $ (MQTT 5.0 sec. 4.7.2).
        if ours[0] in _PLACES and theirs[0].startswith("$"):
            return None
        pairs = list(zip(ours, theirs, strict=True))
        if any(our not in _PLACES and our != their for our, their in pairs):
            return None
        return {our: their for our, their in pairs if our in _PLACES}


def parse_sources(text: str, *, file: str) -> tuple[Source, ...]:
    """Read a sources file.

    Raises:
        SourcesError: not TOML, or a key is missing, unknown or wrong.
    """
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise SourcesError(file, "", f"not TOML: {error}") from error
    root = _Table(file, "", document)
    root.only("source")
    sources = tuple(_source(table) for table in root.tables("source"))
    for key in ("name", "topic"):
        seen: set[str] = set()
        for index, source in enumerate(sources):
            value = source.name if key == "name" else source.subscription
            if value in seen:
                raise SourcesError(file, f"source[{index}].{key}", f"{value!r} is there twice")
            seen.add(value)
    return sources


@dataclass(frozen=True, slots=True)
class _Table:
    """A TOML table that knows where it stands, so that an error can name the key."""

    file: str
    path: str
    values: Mapping[str, Any]

    def error(self, key: str, why: str) -> SourcesError:
        return SourcesError(self.file, f"{self.path}.{key}" if self.path else key, why)

    def only(self, *known: str) -> None:
        for key in self.values:
            if key not in known:
                raise self.error(key, f"not known; known are {', '.join(known)}")

    def text(self, key: str) -> str:
        if key not in self.values:
            raise self.error(key, "missing")
        value = self.values[key]
        if not isinstance(value, str):
            raise self.error(key, "must be text")
        return value

    def table(self, key: str) -> _Table:
        return self._as_table(key, self.values[key])

    def tables(self, key: str) -> list[_Table]:
        value = self.values.get(key)
        if not isinstance(value, list) or not value:
            raise self.error(key, "at least one is needed")
        return [self._as_table(f"{key}[{index}]", one) for index, one in enumerate(value)]

    def _as_table(self, key: str, value: object) -> _Table:
        if not isinstance(value, dict):
            raise self.error(key, "must be a table")
        return _Table(self.file, f"{self.path}.{key}" if self.path else key, value)

    def pointer(self) -> str:
        text = self.text("at")
        try:
            return str(JsonPointer(text).path)
        except JsonPointerException as error:
            raise self.error("at", f"not a JSON Pointer: {error}") from error


def _source(table: _Table) -> Source:
    table.only("name", "topic", "probe", "time", "value")
    topic = _topic(table)
    values = tuple(_value(one) for one in table.tables("value"))
    whole = any(value.at == "" for value in values)
    if whole and (len(values) > 1 or "time" in table.values):
        raise table.error("value", 'the pointer "" is the whole message: no other value and no time beside it')
    quantities = [value.quantity for value in values]
    for index, quantity in enumerate(quantities):
        if quantity in quantities[:index]:
            raise table.error(f"value[{index}].quantity", f"{quantity} is there twice")
    return Source(
        name=table.text("name"),
        topic=topic,
        probe=_fixed_probe(table, topic),
        time=_time(table.table("time")) if "time" in table.values else None,
        values=values,
    )


def _topic(table: _Table) -> str:
    topic = table.text("topic")
    if "+" in topic or "#" in topic:
        raise table.error("topic", f"+ and # are not offered; write {_PROBE} for the level that names the probe")
    if not is_topic_name(topic):
        raise table.error("topic", "not a possible MQTT topic")
    levels = [level for level in topic.split("/") if "{" in level or "}" in level]
    if not set(levels) <= set(_PLACES) or len(levels) > len(set(levels)):
        raise table.error("topic", f"{_PROBE} and {_GATEWAY} stand once each, for a whole level; no other braces")
    return topic


def _fixed_probe(table: _Table, topic: str) -> ProbeId | None:
    if _PROBE in topic:
        if "probe" in table.values:
            raise table.error("probe", f"not beside {_PROBE} in the topic")
        return None
    probe = probe_id(table.text("probe"))
    if probe is None:
        raise table.error("probe", PROBE_ID_RULE)
    return probe


def _time(table: _Table) -> TimeAt:
    table.only("at", "form")
    text = table.text("form")
    if text not in set(TimeForm):
        raise table.error("form", f"{text!r} is not one of {', '.join(TimeForm)}")
    return TimeAt(at=table.pointer(), form=TimeForm(text))


def _value(table: _Table) -> ValueAt:
    table.only("quantity", "at", "unit")
    text = table.text("quantity")
    if text not in set(Quantity):
        raise table.error("quantity", f"{text!r} is not one of {', '.join(Quantity)}")
    quantity = Quantity(text)
    return ValueAt(quantity=quantity, at=table.pointer(), unit=_unit(table, quantity))


def _unit(table: _Table, quantity: Quantity) -> str | None:
    if quantity in CONTACTS:
        table.only("quantity", "at")
        return None
    unit = table.text("unit")
    known = declared_units_for(quantity)
    if unit not in known:
        raise table.error("unit", f"{unit!r} is not one of {', '.join(known)}")
    return unit
