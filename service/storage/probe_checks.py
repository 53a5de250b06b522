"""When probes were checked against a reference, how often they should be, and how their batteries do."""

from __future__ import annotations

from typing import Final

from sqlalchemy import BigInteger, column, select, true, update, values

from rules.model import DAY_MS, HOUR_MS, Instant, Quantity
from service.errors import NotFound
from service.storage.database import Connection
from service.storage.rows import Record
from service.storage.tables import probes, readings, series

SLOT_MS: Final = 4 * HOUR_MS


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
    """By probe: (number of the day, highest volts), for days of a clock that is ``offset_ms`` ahead of UTC.

    Of every four hours the first reading is taken: a battery is slow, and every reading of a month takes long.
    """
    r, battery = readings.c, series.alias()
    slots = [(at_ms,) for at_ms in range(from_ms, to_ms, SLOT_MS)]
    slot = values(column("at_ms", BigInteger), name="slots").data(slots).cte()
    first = (
        select(r.value)
        .where(r.farm_id == farm_id, r.series_id == battery.c.series_id)
        .where(r.at_ms >= slot.c.at_ms, r.at_ms < slot.c.at_ms + SLOT_MS, r.at_ms < to_ms)
        .order_by(r.at_ms)
        .limit(1)
        .scalar_subquery()
    )
    statement = (
        select(battery.c.probe_id, slot.c.at_ms, first)
        .select_from(battery.join(slot, true()))
        .where(battery.c.farm_id == farm_id, battery.c.quantity == Quantity.BATTERY.value)
    )
    highest: dict[str, dict[int, float]] = {}
    for probe_id, at_ms, volts in await connection.execute(statement):
        if volts is not None:
            day, days = (at_ms + offset_ms) // DAY_MS, highest.setdefault(probe_id, {})
            days[day] = max(days.get(day, volts), volts)
    return {probe_id: sorted(days.items()) for probe_id, days in highest.items()}


async def _must_exist(connection: Connection, farm_id: int, probe_id: str) -> None:
    mine = (probes.c.farm_id == farm_id) & (probes.c.probe_id == probe_id)
    if await connection.scalar(select(probes.c.probe_id).where(mine)) is None:
        raise NotFound(f"there is no probe {probe_id!r}")
