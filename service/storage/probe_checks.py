"""When probes were checked against a reference, how often they should be, and how their batteries do."""

from __future__ import annotations

from sqlalchemy import func, select, update

from rules.model import DAY_MS, Instant, Quantity
from service.errors import NotFound
from service.storage.database import Connection
from service.storage.rows import Record
from service.storage.tables import probes, readings, series


def due_ms(probe: Record) -> Instant | None:
    """From when on a probe's check is due; ``None`` where nobody asked for checks.

    A probe that was never checked counts from when it was first heard of.
    """
    if probe["check_every_days"] is None:
        return None
    since_ms = probe["first_heard_ms"] if probe["checked_ms"] is None else probe["checked_ms"]
    return int(since_ms + probe["check_every_days"] * DAY_MS)


async def set_checked(connection: Connection, farm_id: int, probe_id: str, *, who: str, at_ms: Instant) -> None:
    """Somebody checked a probe; an older check does not replace a newer one.

    Raises:
        NotFound: there is no such probe.
    """
    mine = (probes.c.farm_id == farm_id) & (probes.c.probe_id == probe_id)
    await _must_exist(connection, farm_id, probe_id)
    older = probes.c.checked_ms.is_(None) | (probes.c.checked_ms <= at_ms)
    await connection.execute(update(probes).where(mine, older).values(checked_ms=at_ms, checked_who=who))


async def set_check_every(connection: Connection, farm_id: int, probe_id: str, days: int | None) -> None:
    """How often a probe should be checked; ``None``: nobody asks.

    Raises:
        NotFound: there is no such probe.
    """
    mine = (probes.c.farm_id == farm_id) & (probes.c.probe_id == probe_id)
    await _must_exist(connection, farm_id, probe_id)
    await connection.execute(update(probes).where(mine).values(check_every_days=days))


async def daily_highest_battery(
    connection: Connection, farm_id: int, *, from_ms: Instant, to_ms: Instant, offset_ms: int
) -> dict[str, list[tuple[int, float]]]:
    """By probe: (number of the day, highest volts), for days of a clock that is ``offset_ms`` ahead of UTC."""
    s, r = series.c, readings.c
    batteries = select(s.series_id).where(s.farm_id == farm_id, s.quantity == Quantity.BATTERY.value)
    day = ((r.at_ms + offset_ms) // DAY_MS).label("day")
    statement = (
        select(s.probe_id, day, func.max(r.value))
        .join(series, (s.farm_id == r.farm_id) & (s.series_id == r.series_id))
        .where(r.farm_id == farm_id, r.series_id.in_(batteries), r.at_ms >= from_ms, r.at_ms < to_ms)
        .group_by(s.probe_id, day)
        .order_by(s.probe_id, day)
    )
    found: dict[str, list[tuple[int, float]]] = {}
    for probe_id, number, highest in await connection.execute(statement):
        found.setdefault(probe_id, []).append((number, highest))
    return found


async def _must_exist(connection: Connection, farm_id: int, probe_id: str) -> None:
    mine = (probes.c.farm_id == farm_id) & (probes.c.probe_id == probe_id)
    if await connection.scalar(select(probes.c.probe_id).where(mine)) is None:
        raise NotFound(f"there is no probe {probe_id!r}")
