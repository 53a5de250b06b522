"""Read a species profile: TOML text in, :class:`~rules.profile.Profile` out, or an error that names the key.

A file reads like this (times in minutes, everything else in the unit that stands in the quantity's table)::

    name = "shiitake"
    species = "Lentinula edodes"
    label = "Shiitake"
    text_name = "shiitake"
    version = 1

    [sources]
    BOOK = "Author, Title (year), page"
    OTHER = "Author, another title"

    [stages.pinning]
    text_name = "pins"
    usual_days = { from = 5, to = 7, basis = "read", source = "BOOK" }

    [stages.pinning.humidity]
    unit = "%RH"
    low = { value = 95, basis = "read", source = "BOOK", note = "the stricter of the two", others = [
        { value = 90, basis = "from memory", source = "OTHER", note = "for a dry strain" },
    ] }
    target = { value = 97, basis = "judgement", note = "the middle" }

    [stages.pinning.humidity.text_low]
    limit = { value = 85, basis = "judgement", note = "ten points below the band" }
    wait_minutes = 8
    recover_margin = 3
    recover_minutes = 5
    far_limit = { value = 75, basis = "judgement" }
    far_wait_minutes = 3
    below_usual = 12
    fast = { change = 8, within_minutes = 15, wait_minutes = 4 }

Stages happen in the order of the file. ``usual_hours`` may stand for ``usual_days``. A stage may have
``ramp_minutes`` (its limits are held back so long after it begins) and ``above_people_limit = true``. Waits
and margins carry no source: no standard gives any for humidity or CO2, all are judgement and meant to be edited.
A copy says what it was: ``copied_from = { profile = "shiitake", version = 1 }``.
"""

from __future__ import annotations

import re
import tomllib
from typing import Final

from rules.model import EDGES, MINUTE_MS, UNIT, Quantity, Side
from rules.profile import Band, Basis, Fast, Figure, Profile, ProfileError, Stage, TextLimit
from rules.profile_limits import check_band, check_text_limit
from rules.profile_table import Place, Table

_NAME: Final = re.compile(r"[a-z][a-z0-9_]{0,39}")
_WITH_SOURCE: Final = frozenset({Basis.READ, Basis.FROM_MEMORY})
_PER_DAY: Final = {"usual_days": 1.0, "usual_hours": 24.0}
_STAGE_KEYS: Final = ("text_name", "note", "ramp_minutes", "above_people_limit", *_PER_DAY)
_LONGEST_RAMP_MINUTES: Final = 240.0  # beyond, the room is not getting there, and somebody should be told
_LIMIT_KEYS: Final = (
    "limit",
    "wait_minutes",
    "recover_margin",
    "recover_minutes",
    "far_limit",
    "far_wait_minutes",
    "below_usual",
    "fast",
)
_FIGURE_KEYS: Final = ("value", "basis", "source", "note")


def parse_profile(text: str, *, file: str) -> Profile:
    """The profile that ``text`` holds; ``file`` is only its name, for errors.

    Raises:
        ProfileError: anything unknown, missing or contradictory; the message names file, stage and key.
    """
    top = Table(_toml(text, file), Place(file))
    top.only("name", "species", "label", "text_name", "version", "copied_from", "note", "sources", "stages")
    name = top.text("name")
    _check_name(name, top.place.at("name"))
    sources = _sources(top)
    return Profile(
        name=name,
        species=top.text("species"),
        label=top.text("label"),
        text_name=top.text_name("text_name"),
        version=top.whole("version"),
        stages=_stages(top.table("stages"), sources),
        sources=sources,
        note=top.text("note", absent=""),
        copied_from=_copied_from(top),
    )


def _toml(text: str, file: str) -> dict[str, object]:
    """A stage or key that stands twice is already an error here; it names the key and the line."""
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError) as problem:
        raise ProfileError(f"is not TOML: {problem}", file=file) from problem


def _check_name(name: str, place: Place) -> None:
    if not _NAME.fullmatch(name):
        raise place.error(f"{name!r} must be a key: small letters, digits and underscores, at most 40")


def _copied_from(top: Table) -> tuple[str, int] | None:
    if "copied_from" not in top:
        return None
    table = top.table("copied_from")
    table.only("profile", "version")
    return table.text("profile"), table.whole("version")


def _sources(top: Table) -> dict[str, str]:
    if "sources" not in top:
        return {}
    table = top.table("sources")
    return {key: table.text(key) for key in table}


def _stages(table: Table, sources: dict[str, str]) -> tuple[Stage, ...]:
    stages: list[Stage] = []
    for name in table:
        place = Place(table.place.file, stage=name)
        _check_name(name, place)
        stage = _stage(name, Table(table.table(name).content, place), sources)
        if any(stage.text_name == other.text_name for other in stages):
            raise place.at("text_name").error(f"{stage.text_name!r} is already the name of another stage")
        stages.append(stage)
    if not stages:
        raise table.place.error("needs at least one stage")
    return tuple(stages)


def _stage(name: str, table: Table, sources: dict[str, str]) -> Stage:
    quantities = [key for key in table if key not in _STAGE_KEYS]
    bands: dict[Quantity, Band] = {}
    limits: dict[tuple[Quantity, Side], TextLimit] = {}
    for key in quantities:
        quantity = _quantity(key, table.place.at(key))
        climate = table.table(key)
        bands[quantity] = _band(climate, quantity, sources)
        limits |= _text_limits(climate, quantity, bands[quantity], sources)
    if not bands:
        raise table.place.error("needs at least one quantity, such as [stages.pinning.humidity]")
    usual_days, usual_days_from = _usual_days(table, sources)
    return Stage(
        name=name,
        text_name=table.text_name("text_name"),
        bands=bands,
        text_limits=limits,
        usual_days=usual_days,
        usual_days_from=usual_days_from,
        ramp_ms=_ramp_ms(table),
        above_people_limit=table.flag("above_people_limit"),
        note=table.text("note", absent=""),
    )


def _ramp_ms(table: Table) -> int:
    if "ramp_minutes" not in table:
        return 0
    minutes = table.number("ramp_minutes")
    if not 0 <= minutes <= _LONGEST_RAMP_MINUTES:
        raise table.place.at("ramp_minutes").error(f"must be from 0 to {_LONGEST_RAMP_MINUTES:g}")
    return round(minutes * MINUTE_MS)


def _quantity(key: str, place: Place) -> Quantity:
    try:
        quantity = Quantity(key)
    except ValueError:
        raise place.error(
            f"unknown key; known here: {', '.join(_STAGE_KEYS)}, or a quantity: {', '.join(UNIT)}"
        ) from None
    if quantity not in UNIT:
        raise place.error("is only ever on or off and has no band")
    return quantity


def _usual_days(table: Table, sources: dict[str, str]) -> tuple[tuple[float, float] | None, Figure | None]:
    given = [key for key in _PER_DAY if key in table]
    if not given:
        return None, None
    key = given[0]
    table.refuse(given[1:], f"{key} is there already; give one of the two")
    span = table.table(key)
    span.only("from", "to", "basis", "source", "note")
    shortest = span.positive("from") / _PER_DAY[key]
    longest = span.positive("to") / _PER_DAY[key]
    if shortest > longest:
        raise span.place.at("from").error("is longer than to")
    return (shortest, longest), _figure_of(shortest, span, sources)


def _band(table: Table, quantity: Quantity, sources: dict[str, str]) -> Band:
    table.only("unit", "low", "target", "high", "text_low", "text_high")
    if table.text("unit") != UNIT[quantity]:
        raise table.place.at("unit").error(f"must be {UNIT[quantity]!r}")
    band = Band(
        low=_figure(table, "low", sources),
        target=_figure(table, "target", sources),
        high=_figure(table, "high", sources),
    )
    check_band(band, quantity, table.place)
    return band


def _text_limits(
    table: Table, quantity: Quantity, band: Band, sources: dict[str, str]
) -> dict[tuple[Quantity, Side], TextLimit]:
    limits: dict[tuple[Quantity, Side], TextLimit] = {}
    for side in EDGES:
        key = f"text_{side}"
        if key in table:
            limit = _text_limit(table.table(key), sources)
            check_text_limit(limit, side, band, quantity, table.place.at(key))
            limits[quantity, side] = limit
    return limits


def _text_limit(table: Table, sources: dict[str, str]) -> TextLimit:
    table.only(*_LIMIT_KEYS)
    for key, partner in (("far_limit", "far_wait_minutes"), ("far_wait_minutes", "far_limit")):
        if key in table and partner not in table:
            raise table.place.at(partner).error(f"is missing beside {key}")
    return TextLimit(
        limit=_needed_figure(table, "limit", sources),
        wait_ms=_minutes_as_ms(table, "wait_minutes"),
        recover_margin=table.positive("recover_margin"),
        recover_ms=_minutes_as_ms(table, "recover_minutes"),
        far_limit=_figure(table, "far_limit", sources),
        far_wait_ms=_minutes_as_ms(table, "far_wait_minutes") if "far_wait_minutes" in table else None,
        below_usual=table.positive("below_usual") if "below_usual" in table else None,
        fast=_fast(table.table("fast")) if "fast" in table else None,
    )


def _fast(table: Table) -> Fast:
    table.only("change", "within_minutes", "wait_minutes")
    return Fast(
        change=table.positive("change"),
        within_ms=_minutes_as_ms(table, "within_minutes"),
        wait_ms=_minutes_as_ms(table, "wait_minutes"),
    )


def _minutes_as_ms(table: Table, key: str) -> int:
    return max(1, round(table.positive(key) * MINUTE_MS))


def _figure(table: Table, key: str, sources: dict[str, str]) -> Figure | None:
    return _needed_figure(table, key, sources) if key in table else None


def _needed_figure(table: Table, key: str, sources: dict[str, str]) -> Figure:
    inner = table.table(key)
    inner.only(*_FIGURE_KEYS, "others")
    others = tuple(_other(entry, sources) for entry in inner.tables("others"))
    if others and "note" not in inner:
        raise inner.place.at("note").error("is missing: it says why this figure and not the others")
    return _figure_of(inner.number("value"), inner, sources, others)


def _other(table: Table, sources: dict[str, str]) -> Figure:
    table.only(*_FIGURE_KEYS)
    return _figure_of(table.number("value"), table, sources)


def _figure_of(value: float, table: Table, sources: dict[str, str], others: tuple[Figure, ...] = ()) -> Figure:
    basis = _basis(table)
    if basis in _WITH_SOURCE:
        source = table.text("source")
        if source not in sources:
            raise table.place.at("source").error(f"{source!r} does not stand under [sources]")
    else:
        table.refuse(["source"], f"{basis} has no source; say in the note what it weighs")
        source = ""
    return Figure(value=value, basis=basis, source=source, note=table.text("note", absent=""), others=others)


def _basis(table: Table) -> Basis:
    given = table.text("basis")
    try:
        return Basis(given)
    except ValueError:
        raise table.place.at("basis").error(f"must be one of: {', '.join(Basis)}") from None
