"""What a scenario's probes report: from pieces to readings, each with when it reaches us."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import cycle
from random import Random

from rules.model import SECOND_MS, Instant, ProbeId, Quantity, Reading
from tests.support.scenario_clock import FarmClock
from tests.support.scenario_form import Piece, Probe, Scenario, as_ms

SPEAKING = (Quantity.HUMIDITY, Quantity.TEMPERATURE, Quantity.CO2, Quantity.SOAK_WATER)


@dataclass(frozen=True, slots=True)
class Arrival:
    """A reading and when it reaches us."""

    arrived_ms: Instant
    reading: Reading


def arrivals(scenario: Scenario, clock: FarmClock) -> list[Arrival]:
    """All readings of the night, in the order in which they come.

    Raises:
        ValueError: the pieces of a probe do not fill the night.
    """
    ends = clock.moment(scenario.night.ends)
    found: list[Arrival] = []
    for number, probe in enumerate(scenario.probe):
        for quantity in SPEAKING:
            pieces: tuple[Piece, ...] = getattr(probe, quantity.value)
            if pieces:
                found += _of_one(probe, (ProbeId(f"probe {number}"), quantity), pieces, clock, ends)
    return sorted(found, key=lambda a: (a.arrived_ms, a.reading.at_ms, a.reading.probe, a.reading.quantity))


def _of_one(
    probe: Probe, of: tuple[ProbeId, Quantity], pieces: tuple[Piece, ...], clock: FarmClock, ends: Instant
) -> Iterator[Arrival]:
    name, quantity = of
    out = ends + 1 if probe.taken_out is None else clock.moment(probe.taken_out)
    late = cycle(probe.late_s)
    for at_ms, value in _values(pieces, clock, ends, as_ms(probe.every_minutes)):
        if at_ms < out:
            arrival = Arrival(
                at_ms + round(next(late) * SECOND_MS),
                Reading(probe=name, quantity=quantity, at_ms=at_ms, value=round(value, 3)),
            )
            yield from [arrival] * (2 if probe.twice else 1)


def _values(
    pieces: tuple[Piece, ...], clock: FarmClock, ends: Instant, step_ms: int
) -> Iterator[tuple[Instant, float]]:
    """The value at every step from the beginning to the end of the night, both included."""
    at_ms, last = clock.begins_ms, 0.0
    for piece in pieces:
        until = _until(piece, clock, at_ms, ends, step_ms)
        if not at_ms < until <= ends + step_ms:
            raise ValueError(f"a piece from {clock.shows(at_ms)} to {clock.shows(until)}: {piece}")
        began, before = at_ms, last
        chance = Random(piece.seed)
        while at_ms < until:
            if not piece.silent:
                last = _value(piece, before, (at_ms - began, until - began), step_ms, chance)
                yield at_ms, last
            at_ms += step_ms
    if at_ms <= ends:
        raise ValueError(f"the pieces end at {clock.shows(at_ms)}; say what comes then, if only that it is silent")


def _until(piece: Piece, clock: FarmClock, at_ms: Instant, ends: Instant, step_ms: int) -> Instant:
    if piece.says:
        return at_ms + len(piece.says) * step_ms
    if piece.minutes is not None:
        return at_ms + as_ms(piece.minutes)
    return ends + 1 if piece.until is None else clock.moment(piece.until)


def _value(piece: Piece, before: float, span: tuple[int, int], step_ms: int, chance: Random) -> float:
    """The value of a piece; ``span`` is how much of it has gone by, and how long it is."""
    gone_ms, length_ms = span
    target = piece.falls_to if piece.falls_to is not None else piece.rises_to
    if target is not None:
        return before + (target - before) * min(1, (gone_ms + step_ms) / length_ms)
    if piece.mist is not None:
        low, high = sorted(piece.mist)
        cycle_ms = as_ms(piece.cycle_minutes)
        return high - (high - low) * (gone_ms % cycle_ms) / (cycle_ms - step_ms)
    if piece.around is not None:
        return piece.around + chance.uniform(-1, 1) * piece.give_or_take
    if piece.says:
        return piece.says[gone_ms // step_ms]
    return before if piece.hold is None else piece.hold
