"""The farm's own figures for telling people: how long to wait, how often, for whom. Every change is kept."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

from sqlalchemy import select
from sqlalchemy.ext.asyncio import AsyncConnection

from rules.model import MINUTE_MS, SECOND_MS, Instant
from service.errors import NotFound, NotUnderstood
from service.storage.rows import many
from service.storage.tables import figures


@dataclass(frozen=True, slots=True, kw_only=True)
class Figures:
    """Every figure with the value it has until the farm sets its own (judgement, unless said otherwise)."""

    again_minutes: float = 10.0
    """No answer for so long: the same person is told again, and the next one too."""
    most_tellings: float = 3.0
    """How often one person is told of one thing."""
    call_after_minutes: float = 20.0
    """From then on people are told by voice, where that is set up."""
    going_minutes: float = 50.0
    """Somebody went, and after so long it is no better: the next person is told."""
    out_after_going_minutes: float = 45.0
    """So long after "going" somebody should be out again."""
    out_wait_minutes: float = 30.0
    """No "out" for so long after that: the next person is told to look after them."""
    texts_per_hour: float = 6.0
    """The most texts to one person in an hour; what is more comes as one summary. Danger is not counted."""
    merge_rooms: float = 3.0
    """So many rooms with the same trouble at once are one failure of the whole site."""
    merge_within_minutes: float = 10.0
    merge_wait_seconds: float = 60.0
    """How long a text about one room waits to see whether others follow."""
    probe_intervals: float = 3.0
    """A probe that was not heard for so many of its usual intervals is silent."""
    gateway_minutes: float = 5.0
    site_minutes: float = 3.0
    blind_minutes: float = 10.0
    """A room that nothing can be said of for so long is told."""
    trial_weekday: float = 1.0
    """The day of the weekly test text; 0 is Monday."""
    trial_minute: float = 600.0
    """Its minute of the farm's day."""
    friday_minute: float = 780.0
    link_hours: float = 12.0
    """How long an answering link works."""

    def ms(self, name: str) -> int:
        """A figure of time in milliseconds, by its name."""
        value: float = getattr(self, name)
        unit = {"minutes": MINUTE_MS, "seconds": SECOND_MS, "hours": 60 * MINUTE_MS}[name.rpartition("_")[2]]
        return round(value * unit)


@dataclass(frozen=True, slots=True, kw_only=True)
class FigureSet:
    """A figure that somebody set."""

    name: str
    value: float
    who: str
    recorded_ms: Instant


LEAST_AND_MOST = {
    "again_minutes": (1, 120), "most_tellings": (1, 10), "call_after_minutes": (0, 240),
    "going_minutes": (10, 240),
    "out_after_going_minutes": (10, 240), "out_wait_minutes": (5, 240), "texts_per_hour": (2, 60),
    "merge_rooms": (2, 50), "merge_within_minutes": (1, 60), "merge_wait_seconds": (0, 300),
    "probe_intervals": (2, 20), "gateway_minutes": (1, 60), "site_minutes": (1, 60), "blind_minutes": (0, 240),
    "trial_weekday": (0, 6), "trial_minute": (0, 1439), "friday_minute": (0, 1439), "link_hours": (1, 48),
}  # fmt: skip


async def figures_of(connection: AsyncConnection, farm_id: int) -> Figures:
    """The figures that hold now."""
    newest = {row.name: row.value for row in await figures_set(connection, farm_id)}
    known = {field.name for field in fields(Figures)}
    return replace(Figures(), **{name: value for name, value in newest.items() if name in known})


async def figures_set(connection: AsyncConnection, farm_id: int) -> list[FigureSet]:
    """Every figure that was ever set, oldest first."""
    f = figures.c
    statement = select(figures).where(f.farm_id == farm_id).order_by(f.recorded_ms, f.name)
    rows = await many(connection, statement)
    return [FigureSet(**{name: row[name] for name in ("name", "value", "who", "recorded_ms")}) for row in rows]


async def set_figure(
    connection: AsyncConnection, farm_id: int, name: str, value: float, *, who: str, now_ms: Instant
) -> None:
    """Set a figure from now on.

    Raises:
        NotFound: there is no figure of this name.
        NotUnderstood: the value is out of bounds.
    """
    if name not in LEAST_AND_MOST:
        raise NotFound(f"there is no figure {name!r}")
    least, most = LEAST_AND_MOST[name]
    if not least <= value <= most:
        raise NotUnderstood(f"{name} must be from {least} to {most}")
    row = {"farm_id": farm_id, "name": name, "value": value, "who": who, "recorded_ms": now_ms}
    mine = (figures.c.farm_id == farm_id) & (figures.c.name == name) & (figures.c.recorded_ms == now_ms)
    await connection.execute(figures.delete().where(mine))
    await connection.execute(figures.insert().values(row))
