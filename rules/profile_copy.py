"""A farm's own version of a profile: copied as text, edited by a person, held against what it began from.

A copy keeps every comment and every source, as the lines it does not change are left alone. What makes it a
profile of its own stands in the lines before the first table.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Final

from rules.model import Quantity
from rules.profile import Basis, Figure, Profile, ProfileError, Stage
from rules.profile_parser import parse_profile

_WITH_SOURCE: Final = frozenset({Basis.READ, Basis.FROM_MEMORY})
_FIRST_TABLE: Final = re.compile(r"^\s*\[", re.MULTILINE)


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnName:
    """What a copy is called."""

    name: str
    """Key in lower case, such as ``shiitake_brown``."""
    label: str
    text_name: str | None = None
    """``None``: as the profile it is copied from."""


def copied_text(text: str, *, file: str, own: OwnName) -> str:
    """Return the TOML text of a copy, version 1 under its own name, all else as it was.

    Args:
        text: the profile to copy.
        file: its name, for errors.
        own: what the copy is called.

    Raises:
        ProfileError: the text or the new name is not usable, or name, label and version are written in a way that
            cannot be changed line by line.
    """
    was = parse_profile(text, file=file)
    text_name = was.text_name if own.text_name is None else own.text_name
    lines = {
        "name": _quoted(own.name),
        "label": _quoted(own.label),
        "text_name": _quoted(text_name),
        "version": "1",
        "copied_from": f"{{ profile = {_quoted(was.name)}, version = {was.version} }}",
    }
    copy = _with_lines(text, lines)
    expected = replace(
        was,
        name=own.name,
        label=own.label,
        text_name=text_name,
        version=1,
        copied_from=(was.name, was.version),
    )
    if parse_profile(copy, file=f"copy of {file}") != expected:
        raise ProfileError("cannot be copied: name, label and version must stand on lines of their own", file=file)
    return copy


def unchanged_stages(before: Profile, after: Profile) -> tuple[str, ...]:
    """The stages that say the same in both, down to what their sources are: who stood for one stands for both."""
    old = {stage.name: stage for stage in before.stages}
    return tuple(
        stage.name
        for stage in after.stages
        if old.get(stage.name) == stage
        and all(before.sources.get(key) == after.sources.get(key) for key in _source_keys(stage))
    )


def wrongly_sourced(origin: Profile, edited: Profile) -> tuple[str, ...]:
    """Where an edited figure still names the source of the figure it replaced, in words that name stage and key.

    A source that says 95 does not say 90. The same source may say several things of a quantity: any of them
    will do, as long as it is said of the same stage.
    """
    found: list[str] = []
    old = {stage.name: stage for stage in origin.stages}
    for stage in edited.stages:
        if stage.name not in old:
            continue
        said = _said(old[stage.name])
        for quantity, edge, figure in _band_figures(stage):
            known = said.get((quantity, figure.source), ())
            same_source = edited.sources.get(figure.source) == origin.sources.get(figure.source)
            if figure.basis in _WITH_SOURCE and same_source and known and figure.value not in known:
                values = " and ".join(f"{value:g}" for value in sorted(known))
                found.append(
                    f"stage {stage.name}: {quantity}.{edge}: {figure.source} says {values} in "
                    f"{origin.name} version {origin.version}, not {figure.value:g}"
                )
    return tuple(found)


def not_read(stage: Stage) -> tuple[str, ...]:
    """The edges of the stage's bands that were not read in a source, each as key, value and basis."""
    return tuple(
        f"{quantity}.{edge} {figure.value:g} ({figure.basis})"
        for quantity, edge, figure in _band_figures(stage)
        if edge != "target" and figure.basis is not Basis.READ
    )


def _said(stage: Stage) -> Mapping[tuple[Quantity, str], frozenset[float]]:
    said: dict[tuple[Quantity, str], frozenset[float]] = {}
    for quantity, _, figure in _band_figures(stage):
        for one in (figure, *figure.others):
            if one.basis in _WITH_SOURCE:
                key = (quantity, one.source)
                said[key] = said.get(key, frozenset()) | {one.value}
    return said


def _band_figures(stage: Stage) -> Iterator[tuple[Quantity, str, Figure]]:
    for quantity, band in stage.bands.items():
        for edge, figure in (("low", band.low), ("target", band.target), ("high", band.high)):
            if figure is not None:
                yield quantity, edge, figure


def _source_keys(stage: Stage) -> set[str]:
    figures = [figure for _, _, figure in _band_figures(stage)]
    for text in stage.text_limits.values():
        figures += [figure for figure in (text.limit, text.far_limit) if figure is not None]
    if stage.usual_days_from is not None:
        figures.append(stage.usual_days_from)
    return {one.source for figure in figures for one in (figure, *figure.others)}


def _with_lines(text: str, lines: Mapping[str, str]) -> str:
    """Replace top-level keys, each on a line of its own; one that is not there yet comes after the version."""
    first = _FIRST_TABLE.search(text)
    end = first.start() if first else len(text)
    head, rest = text[:end], text[end:]
    for key, value in lines.items():
        new = f"{key} = {value}"
        if found := _line_of(key, head):
            head = head[: found.start()] + new + head[found.end() :]
        elif found := _line_of("version", head):
            head = f"{head[: found.end()]}\n{new}{head[found.end() :]}"
    return head + rest


def _line_of(key: str, head: str) -> re.Match[str] | None:
    return re.search(rf"^{key}[ \t]*=.*$", head, re.MULTILINE)


def _quoted(text: str) -> str:
    """A basic string of TOML; what may not stand in one is refused where the copy is read."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'
