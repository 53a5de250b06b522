"""Species profiles: what each stage of a crop wants, and where somebody is woken.

A profile is data (``rules/profiles/*.toml``). For every stage it holds two different things:

* the *band* of each quantity: what to grow in. Wide, from the literature, every figure with its source;
* the *text limit* of a quantity and side: where a person is told. Never the band's edge itself, because
  a probe good to two points at the edge would call people out for nothing.

Low and high limits that matter to people's health are not here: they never depend on the crop.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from rules.model import Quantity, Side


class Basis(StrEnum):
    """How far a figure can be trusted."""

    READ = "read"
    FROM_MEMORY = "from memory"
    COMMON_PRACTICE = "common practice"
    JUDGEMENT = "judgement"


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """One number of a profile with where it comes from."""

    value: float
    basis: Basis
    source: str
    """Key into :attr:`Profile.sources`; empty for common practice and judgement."""
    note: str = ""
    others: tuple[Figure, ...] = ()
    """What other sources say and was not chosen; :attr:`note` says why. These have no others themselves."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """What to grow in. Any edge may be absent; CO2 may have a low edge."""

    low: Figure | None = None
    target: Figure | None = None
    high: Figure | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Fast:
    """A shorter wait for what comes fast.

    Beyond the limit, and moved away from the band by ``change`` (in the quantity's unit) within ``within_ms``:
    then ``wait_ms`` is enough.
    """

    change: float
    within_ms: int
    wait_ms: int


@dataclass(frozen=True, slots=True, kw_only=True)
class TextLimit:
    """Where a person is told, how long it must last, and how it ends.

    ``recover_margin`` and limits are in the quantity's unit; times are milliseconds.
    """

    limit: Figure
    wait_ms: int
    recover_margin: float
    recover_ms: int
    far_limit: Figure | None = None
    far_wait_ms: int | None = None
    below_usual: float | None = None
    """Low humidity only: also speak this many points below what the room usually shows at this hour."""
    fast: Fast | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Stage:
    """One stage of a crop, in the order in which it happens."""

    name: str
    """Key in lower case, such as ``pinning``."""
    text_name: str
    """At most 10 characters of the basic text alphabet, such as ``pins``."""
    bands: Mapping[Quantity, Band]
    text_limits: Mapping[tuple[Quantity, Side], TextLimit]
    usual_days: tuple[float, float] | None = None
    usual_days_from: Figure | None = None
    """Where the usual days come from; its value is the shorter of the two."""
    ramp_ms: int = 0
    """Its text limits are held back this long after it begins: the room needs time to get there."""
    above_people_limit: bool = False
    """CO2 is kept above the 8-hour limit for people on purpose: the room is aired out before anybody enters."""
    note: str = ""

    @property
    def all_read(self) -> bool:
        """True when every band edge was read in a source: only then may it wake somebody unconfirmed."""
        figures = [f for band in self.bands.values() for f in (band.low, band.high) if f is not None]
        return bool(figures) and all(f.basis is Basis.READ for f in figures)


@dataclass(frozen=True, slots=True, kw_only=True)
class Profile:
    """One species (and strain), stages in order."""

    name: str
    """Key in lower case, such as ``shiitake``."""
    species: str
    """Scientific name."""
    label: str
    """The grower's name, such as "Shiitake"."""
    text_name: str
    """At most 10 characters of the basic text alphabet."""
    version: int
    stages: tuple[Stage, ...]
    sources: Mapping[str, str]
    """Source key to a plain description (author, title, year, how it was read)."""
    note: str = ""
    copied_from: tuple[str, int] | None = None
    """Name and version of the profile that this one began as a copy of."""

    def stage(self, name: str) -> Stage:
        """The stage called ``name``.

        Raises:
            KeyError: this profile has no such stage; the message lists those it has.
        """
        for stage in self.stages:
            if stage.name == name:
                return stage
        raise KeyError(f"{self.name} has no stage {name!r}; it has {', '.join(s.name for s in self.stages)}")


class ProfileError(ValueError):
    """A profile file that cannot be used. The message names file, stage and key, as far as they are known."""

    def __init__(self, problem: str, *, file: str, stage: str = "", key: str = "") -> None:
        """Keep the place beside the message, so that a page can point at it."""
        self.problem = problem
        self.file = file
        self.stage = stage
        self.key = key
        place = ": ".join(part for part in (file, stage and f"stage {stage}", key) if part)
        super().__init__(f"{place}: {problem}")
