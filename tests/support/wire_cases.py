"""Golden wire messages: one file each in tests/contract/cases, read here for every test that speaks the wire.

Knows neither the service nor the simulator, so that both are held to the same files.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, Final

PREFIX: Final = "houseband"
FARM: Final = "alder-creek"
CONTRACT: Final = Path(__file__).parents[1] / "contract"
SOURCES_FILE: Final = CONTRACT / "sources.toml"

_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(frozen=True, slots=True, kw_only=True)
class ExpectedReading:
    probe: str
    quantity: str
    value: float
    at_ms: int
    timed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class ExpectedRejection:
    reason: str
    """Name of a member of ``service.messages.Reason``."""
    probe: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class WireCase:
    name: str
    what: str
    topic: str
    payload: bytes
    content_type: str | None
    retained: bool
    duplicate: bool
    received_ms: int
    mapped: bool
    """Needs the sources file beside the cases."""
    readings: tuple[ExpectedReading, ...]
    rejected: tuple[ExpectedRejection, ...]
    heard: frozenset[str]
    oddities: tuple[str, ...]


def wire_cases() -> list[WireCase]:
    return [_case(path) for path in sorted((CONTRACT / "cases").glob("*.toml"))]


def _case(path: Path) -> WireCase:
    table = tomllib.loads(path.read_text())
    return WireCase(
        name=path.stem,
        what=table["what"],
        topic=table["topic"],
        payload=_payload(table),
        content_type=table.get("content_type"),
        retained=table.get("retained", False),
        duplicate=table.get("duplicate", False),
        received_ms=_ms(table["received"]),
        mapped=table.get("mapped", False),
        readings=tuple(_reading(one) for one in table.get("reading", [])),
        rejected=tuple(
            ExpectedRejection(reason=one["reason"], probe=one.get("probe")) for one in table.get("rejected", [])
        ),
        heard=frozenset(table["heard"]),
        oddities=tuple(table.get("oddities", [])),
    )


def _payload(table: dict[str, Any]) -> bytes:
    if "repeated" in table:
        return _repeated(table["repeated"])
    return bytes.fromhex(table["hex"]) if "hex" in table else str(table["text"]).encode()


def _repeated(table: dict[str, Any]) -> bytes:
    """Write out a message that is too long for a file."""
    if "each_hex" in table:
        before, each, after = (bytes.fromhex(table[f"{part}_hex"]) for part in ("before", "each", "after"))
    else:
        before, each, after = (str(table[part]).encode() for part in ("before", "each", "after"))
    return before + each * int(table["times"]) + after


def _reading(table: dict[str, Any]) -> ExpectedReading:
    return ExpectedReading(
        probe=table["probe"],
        quantity=table["quantity"],
        value=table["value"],
        at_ms=_ms(table["at"]),
        timed=table["timed"],
    )


def _ms(moment: datetime) -> int:
    return (moment - _EPOCH) // timedelta(milliseconds=1)
