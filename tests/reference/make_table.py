"""Writes README.md of this folder from files and tests: python -m tests.reference.make_table"""

from __future__ import annotations

import ast
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from tests.house_measures import ROOT
from tests.support.reference import FOLDER, Row, Use, rows_left_out, rows_of, uses_of_rows
from tests.support.shipped import PROFILES

README: Final = FOLDER / "README.md"
BASES: Final = ("read", "computed", "from memory", "common practice")


@dataclass(frozen=True, slots=True, kw_only=True)
class File:
    """What one file holds, and by which of its columns it is best told apart."""

    name: str
    about: str
    group: str


FILES: Final = (
    File(
        name="psychrometrics.csv",
        group="quantity",
        about="Properties of moist air. `tolerance` is in the row's unit (`abs`) or a share of it (`rel`).",
    ),
    File(
        name="humidity_error.csv",
        group="quantity",
        about="What an error of the probe does to drying power and dew point.",
    ),
    File(name="statistics.csv", group="quantity", about="Time-weighted means of irregular samples."),
    File(
        name="co2.csv",
        group="quantity",
        about="Limits for people at work, and their averages over 8 hours and 15 minutes.",
    ),
    File(
        name="alarm_scenarios.csv",
        group="scenario",
        about="Sample series, and how often a limit with a deadband begins and ends.",
    ),
    File(name="alarm_transitions.csv", group="event", about="The arrows of the ANSI/ISA-18.2 alarm state model."),
    File(
        name="alarm_metrics.csv",
        group="whose_term",
        about="What the load of alarms on one person is held to, and whose target each is.",
    ),
    File(
        name="alarm_load_scenarios.csv",
        group="scenario",
        about="Floods, and what is stale: small cases with their answer.",
    ),
    File(
        name="species_climate.csv",
        group="common_name",
        about=(
            "Growing figures by species and stage. `MERGED` rows are a judgement over the others and count as no "
            "source."
        ),
    ),
    File(name="night_windows.csv", group="kind", about="Nights, days and moments on local clocks."),
    File(name="phone_numbers.csv", group="quantity", about="Numbers as people write them, and as E.164 does."),
    File(
        name="rota_recurrence.csv",
        group="quantity",
        about="Repeating turns (RFC 5545) and local times that are skipped or come twice.",
    ),
    File(
        name="text_message_segments.csv",
        group="encoding",
        about="How many segments a text takes; rows without an encoding are lengths of the standard.",
    ),
    File(
        name="senml.csv",
        group="quantity",
        about="Example packs with their resolved form, the time rule, names, versions and units of SenML.",
    ),
    File(name="mqtt.csv", group="kind", about="Which topics a filter matches, and which topic names are valid."),
    File(
        name="push_problem_cap.csv",
        group="quantity",
        about="Words of the Common Alerting Protocol 1.2, and how it writes a moment.",
    ),
)

_PROGRAMS: Final = re.compile(
    r"(PsychroLib|CoolProp|MetPy|iapws|zoneinfo with tzdata|paho-mqtt|smsutil|numpy|scipy|mpmath) (\d[\d.]*\d)"
)
_ASKED_DIRECTLY: Final = {"psychrolib": "PsychroLib", "CoolProp": "CoolProp", "scipy": "SciPy"}

_HEADER: Final = """\
# Check values from outside the project

Every row carries its own source and how far to trust it (`basis`):

- `read`: published, and seen in a public copy, or restated in an open document or test suite that the `source`
  names. The bought standards (ASHRAE, ISA, IEC, EEMUA) were not opened;
- `computed`: worked out with a published program, named with its version, or by plain arithmetic;
- `from memory`: recalled from the named work and not confirmed;
- `common practice`: widely done, no single source.

This page is generated from the files and from the tests' own parameters: `python -m tests.reference.make_table`.
A test holds it to both, and every row to a test. A test that is not named here checks the project's own rules, or
cases whose arithmetic stands beside them.
"""

_SPECIES: Final = "species_climate.csv"
_NO_WORK: Final = {
    "CP": "common practice, no single source",
    "MERGED": "a judgement over the other rows of the species and stage; counts as no source",
}

_ELSEWHERE: Final = (
    ("saturated salts and their humidity (Greenspan 1977)", "for checking probes, which is not built"),
    ("mean kinetic temperature, Q10 and respiration", "for the cooler's record; no rule computes them"),
    (
        "control charts, Theil-Sen, Hampel, Grubbs, percentiles, thinning of series",
        "drift of probes is not judged yet",
    ),
    (
        "air change rate, purge times, mass balance, mixtures and mg/m3 of CO2",
        "how quickly a room clears is not worked out yet",
    ),
    ("SenML units and versions beyond those here", "no quantity of ours comes in them"),
    ("record keeping, recording intervals, retention", "exports are not built"),
    (
        "phone numbers (E.164), rotas (RFC 5545), push messages, the rest of CAP",
        "those ways to tell and rotas are not built",
    ),
    ("MQTT facts beyond topics", "they concern the broker; the kill test meets them on real parts"),
    (
        "a real office room for a week, a reading a minute (Candanedo, Feldheim 2016, *Energy and Buildings* 112)",
        "its licence is not confirmed, so it does not ship; tests that play it skip where it is missing",
    ),
)
"""What was collected beside these, and why it is not here."""


def table() -> str:
    """The whole page."""
    uses = uses_of_rows()
    parts = [_HEADER, _overview(), *(_section(file, uses) for file in FILES), _sources(), _asked(), _elsewhere()]
    return "".join(parts)


def _overview() -> str:
    lines = [f"| file | rows | {' | '.join(BASES)} |", f"|---|{'---|' * (len(BASES) + 1)}"]
    for file in FILES:
        rows = rows_of(file.name)
        lines.append(f"| [{file.name}]({file.name}) | {len(rows)} | {_bases(rows)} |")
    everything = [row for file in FILES for row in rows_of(file.name)]
    lines.append(f"| all | {len(everything)} | {_bases(everything)} |")
    return "\n## All files\n\n" + "\n".join(lines) + "\n"


def _section(file: File, uses: Sequence[Use]) -> str:
    groups: dict[str, list[Row]] = {}
    for row in rows_of(file.name):
        groups.setdefault(row[file.group] or "(none)", []).append(row)
    lines = [
        f"\n## {file.name}\n\n{file.about}\n",
        f"| {file.group.replace('_', ' ')} | {' | '.join(BASES)} | computed with | tests |",
        f"|---|{'---|' * (len(BASES) + 2)}",
    ]
    lines += [
        f"| {name} | {_bases(rows)} | {_programs(rows)} | {_tests(file, rows, uses)} |"
        for name, rows in groups.items()
    ]
    return "\n".join(lines) + "\n" + _left_out(file)


def _left_out(file: File) -> str:
    counted = Counter(reason for reason, _ in rows_left_out().get(file.name, ()))
    if not counted:
        return ""
    lines = ["\n| left out | rows |", "|---|---|", *(f"| {why} | {count} |" for why, count in counted.items())]
    return "\n".join(lines) + "\n"


def _bases(rows: Sequence[Row]) -> str:
    counted = Counter(row["basis"] for row in rows)
    return " | ".join(str(counted[basis] or "") for basis in BASES)


def _programs(rows: Sequence[Row]) -> str:
    computed = [row for row in rows if row["basis"] == "computed"]
    found = {" ".join(one) for row in computed for one in _PROGRAMS.findall(row.get("source", ""))}
    by_hand = any(not _PROGRAMS.search(row.get("source", "")) for row in computed)
    return ", ".join([*sorted(found), *(["arithmetic"] if by_hand else [])])


def _tests(file: File, rows: Sequence[Row], uses: Sequence[Use]) -> str:
    using = [use for use in uses if use.file == file.name and any(row in use.rows for row in rows)]
    said = [f"`{use.path}`: {use.sentence}" for use in using]
    left = sum(row in rows for _, row in rows_left_out().get(file.name, ()))
    return "<br>".join([*said, *([f"{left} left out, see below"] if left else [])])


def _sources() -> str:
    """What stands behind the keys of the species table, in the words of the profiles that cite them."""
    words: dict[str, set[str]] = {key: {what} for key, what in _NO_WORK.items()}
    for profile in PROFILES:
        for key, what in profile.sources.items():
            words.setdefault(key, set()).add(what)
    lines = [f"\n## Sources of {_SPECIES}\n", "| key | source |", "|---|---|"]
    unsaid = {"only in rows that are left out"}
    keys = sorted({row["source_id"] for row in rows_of(_SPECIES)})
    lines += [f"| {key} | {'<br>'.join(sorted(words.get(key, unsaid)))} |" for key in keys]
    return "\n".join(lines) + "\n"


def _asked() -> str:
    lines = ["\n## Programs that tests ask directly\n", "| program | asked by |", "|---|---|"]
    asked: dict[str, list[str]] = {}
    for path in sorted((ROOT / "tests").rglob("test_*.py")):
        for name in _imported(path.read_text(encoding="utf-8")) & set(_ASKED_DIRECTLY):
            asked.setdefault(name, []).append(f"`{path.relative_to(ROOT)}`")
    lines += [f"| {_ASKED_DIRECTLY[name]} | {', '.join(paths)} |" for name, paths in sorted(asked.items())]
    return "\n".join(lines) + "\n"


def _elsewhere() -> str:
    lines = [
        "\n## Collected, and not here\n\nOther check values wait for the part that will compute them:\n",
        "| what | why it is not here |",
        "|---|---|",
        *(f"| {what} | {why} |" for what, why in _ELSEWHERE),
    ]
    return "\n".join(lines) + "\n"


def _imported(text: str) -> set[str]:
    found: set[str] = set()
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Import):
            found |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found.add(node.module.split(".")[0])
    return found


if __name__ == "__main__":
    README.write_text(table(), encoding="utf-8")
