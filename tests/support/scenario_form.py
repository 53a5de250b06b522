"""The form of a scenario file: one night, one idea, in words a grower uses. An unknown key or word is refused.

Clock times are the farm's: ``"22:30"`` is the next time the clock shows that after the night began,
``"01:30 again"`` the second one when clocks go back, ``"2026-11-26 02:00"`` says the day as well.
"""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, model_validator

from rules.limits import Key
from rules.model import MINUTE_MS, Quantity, Side

Clock = Annotated[str, StringConstraints(pattern=r"^(\d{4}-\d\d-\d\d )?\d\d:\d\d(:\d\d)?( again)?$")]
Words = Annotated[str, StringConstraints(min_length=10)]
About = Annotated[str, StringConstraints(pattern=r"^(humidity|temperature|co2|soak_water) (low|high|people)$")]
What = Literal[
    "text", "deeper", "danger", "back", "on the sheet", "deeper on the sheet", "back on the sheet", "held",
    "text when the hold ends", "sheet when the hold ends",
]  # fmt: skip
"""What comes out. "held": there is something to say, and it is held back. "on the sheet": it wakes nobody."""


class Part(BaseModel):
    """A table of the file."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Night(Part):
    """From when to when, and on whose clock."""

    zone: str = "America/New_York"
    begins: Clock
    ends: Clock


class Quick(Part):
    """A quick change beyond the limit speaks sooner."""

    change: float
    within_minutes: float
    wait_minutes: float


class Figures(Part):
    """A text limit given in the file itself."""

    limit: float
    wait_minutes: float
    margin: float
    recover_minutes: float
    far: float | None = None
    far_wait_minutes: float | None = None
    fast: Quick | None = None
    below_usual: float | None = None


class MovesTo(Part):
    """A batch changes its stage, or leaves the room."""

    at: Clock
    stage: str | None = None
    leaves: bool = False


class Batch(Part):
    """Blocks in the room: a shipped profile, or figures of their own by stage and limit ("humidity low")."""

    batch: str = "blocks"
    profile: str | None = None
    figures: dict[str, dict[About, Figures]] = Field(default_factory=dict)
    ramp_minutes: dict[str, float] = Field(default_factory=dict)
    above_people_limit: tuple[str, ...] = ()
    """Stages that are grown above the limit for people on purpose."""
    stage: str
    stage_began: Clock | None = None
    """Absent: a week before the night."""
    confirmed: bool = True
    """False: nobody has stood for the figures yet."""
    moves: tuple[MovesTo, ...] = ()

    @model_validator(mode="after")
    def _one_source(self) -> Self:
        if (self.profile is None) != bool(self.figures):
            raise ValueError("give a profile or figures, one of the two")
        return self


class Piece(Part):
    """A piece of what a probe reports, for some minutes or until a time; without either, until morning."""

    minutes: float | None = None
    until: Clock | None = None
    hold: float | None = None
    """Stays at a value."""
    falls_to: float | None = None
    rises_to: float | None = None
    """Goes evenly to a value from where it was."""
    mist: tuple[float, float] | None = None
    """Dries from the higher value to the lower, is misted, and dries again."""
    cycle_minutes: float = 12
    around: float | None = None
    """Wavers about a value by ``give_or_take``."""
    give_or_take: float = 1
    seed: int = 1
    silent: bool = False
    """Says nothing."""
    stuck: bool = False
    """Repeats what it said last."""
    says: tuple[float, ...] = ()
    """One reading after another."""

    @model_validator(mode="after")
    def _one_kind(self) -> Self:
        numbers = (self.hold, self.falls_to, self.rises_to, self.mist, self.around)
        kinds = [*(n is not None for n in numbers), self.silent, self.stuck, bool(self.says)]
        if sum(kinds) != 1:
            raise ValueError("a piece does one thing")
        if self.says and (self.minutes or self.until):
            raise ValueError("readings that are listed last as long as there are of them")
        return self


class Probe(Part):
    """A probe, where it hangs, and what it reports."""

    place: str = "in the middle"
    every_minutes: float = 1
    taken_out: Clock | None = None
    late_s: tuple[float, ...] = (0,)
    """How late its readings come, one after another, over and over."""
    twice: bool = False
    """Every reading is sent twice."""
    tops_out_at: float | None = None
    """The most its CO2 cell can show."""
    humidity: tuple[Piece, ...] = ()
    temperature: tuple[Piece, ...] = ()
    co2: tuple[Piece, ...] = ()
    soak_water: tuple[Piece, ...] = ()


class Act(Part):
    """What somebody does."""

    at: Clock
    who: str
    does: Literal["is working", "leaves it", "comes out", "takes it back", "is going"]
    until: Clock | None = None
    about: About | None = None
    """Only this limit; absent: every limit of the crop."""


class Room(Part):
    """The room, where it is not an ordinary house whose first days are over."""

    kind: Literal["fruiting", "incubation", "cooler", "tank"] = "fruiting"
    first_days_end: Clock | None = None
    usually_shows: dict[Literal["humidity"], float] = Field(default_factory=dict)
    """What the room shows at these hours on like days."""


class Said(Part):
    """Something that must come out, about which limit, and where it matters: of which batch, by which probe."""

    at: Clock
    what: What
    about: About
    batch: str | None = None
    place: str | None = None
    value: float | None = None
    worst: float | None = None


class WouldSpeak(Part):
    """What proves that a quiet room was watched: with every probe at this value it is not quiet."""

    about: About
    value: float


class Result(Part):
    """What must come out, how exactly in time, and nothing else."""

    within_minutes: float
    says: tuple[Said, ...] | Literal["nothing"]
    but_would_at: WouldSpeak | None = None

    @model_validator(mode="after")
    def _quiet_is_proved(self) -> Self:
        if (self.says == "nothing") != (self.but_would_at is not None):
            raise ValueError("a night that says nothing says what it would speak at, and only such a night")
        return self


class Scenario(Part):
    """One idea."""

    title: Words
    why: Words
    night: Night
    room: Room = Room()
    crop: tuple[Batch, ...]
    probe: tuple[Probe, ...]
    people: tuple[Act, ...] = ()
    result: Result


def read_scenario(path: Path) -> Scenario:
    """Read one file.

    Raises:
        ValueError: it is not of this form; the message names the key.
    """
    content: dict[str, Any] = tomllib.loads(path.read_text(encoding="utf-8"))
    return Scenario.model_validate(content)


def key_of(about: str) -> Key:
    """The limit that the words name."""
    quantity, side = about.split()
    return Quantity(quantity), Side(side)


def as_ms(minutes: float) -> int:
    return round(minutes * MINUTE_MS)
