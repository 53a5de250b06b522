"""Writes README.md of this folder from the cases: python -m tests.contract.make_table"""

from __future__ import annotations

from typing import Final

from service.messages import Reason
from tests.support.wire_cases import CONTRACT, ExpectedReading, WireCase, wire_cases

README: Final = CONTRACT / "README.md"

_HEADER: Final = """\
# What arrives, and what we do with it

Every row is a golden message in `cases/`, and a test: the decoder must do exactly this, and after each the
next good message is still understood. All of it is invented data. **Rejected** means kept with its bytes and the
reason, counted, and shown at the probe. Mapped devices are declared in `sources.toml`. This page is generated:
`python -m tests.contract.make_table`.
"""

_GROUPS: Final = (
    ("number", "Bare numbers, `<prefix>/<farm>/<probe>/<quantity>`"),
    ("contact", "Contacts as bare text"),
    ("pack", "SenML packs in JSON"),
    ("cbor", "SenML packs in CBOR"),
    ("mapped", "Other devices, mapped in the sources file"),
    ("topic", "Topics"),
)
_NAMES: Final = {"co2": "CO2", "air_pressure": "air pressure"}
_UNITS: Final = {
    "temperature": " Cel",
    "humidity": " %RH",
    "co2": " ppm",
    "battery": " V",
    "signal": " dBm",
    "light": " lx",
    "air_pressure": " Pa",
}


def table() -> str:
    cases = wire_cases()
    return _HEADER + "".join(_group(prefix, title, cases) for prefix, title in _GROUPS)


def _group(prefix: str, title: str, cases: list[WireCase]) -> str:
    rows = "".join(_row(case) for case in cases if case.name.split("_")[0] == prefix)
    return f"\n## {title}\n\n| what arrives | what we do | case |\n|---|---|---|\n{rows}"


def _row(case: WireCase) -> str:
    return f"| {case.what} | {_what_we_do(case)} | [{case.name}](cases/{case.name}.toml) |\n"


def _what_we_do(case: WireCase) -> str:
    parts = []
    if case.readings:
        parts.append("Understood: " + ", ".join(_values(case)))
    if case.rejected:
        reasons = dict.fromkeys(Reason[one.reason].value for one in case.rejected)
        parts.append(f"**Rejected**: {', '.join(reasons)}")
    if case.heard and not parts:
        parts.append("Probe noted, no reading")
    if case.oddities:
        parts.append(f"counted: {', '.join(case.oddities)}")
    if not parts:
        return "Ours: nothing to record"
    return "; ".join(parts)


def _values(case: WireCase) -> list[str]:
    several = len({reading.probe for reading in case.readings}) > 1
    return [
        f"{reading.probe + ' ' if several else ''}{_NAMES.get(reading.quantity, reading.quantity)} "
        f"{_value(reading.quantity, reading.value)}{_when(reading, case)}"
        for reading in case.readings
    ]


def _when(reading: ExpectedReading, case: WireCase) -> str:
    if reading.timed:
        return ""
    ago_s = (case.received_ms - reading.at_ms) // 1000
    return f" ({ago_s} s before received)" if ago_s else " (time received)"


def _value(quantity: str, value: float) -> str:
    if quantity not in _UNITS:
        return "on" if value else "off"
    return f"{value:.10g}{_UNITS[quantity]}"


if __name__ == "__main__":
    README.write_text(table())
