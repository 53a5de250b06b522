"""What is silent, and since when: one probe, one gateway, or nothing heard of the whole site.

Silence is judged by when something was *received*, and only over time in which we were listening: a gap of our
own, or of our line to the broker, is never counted as silence of a probe. The wider silence swallows the narrower:
while nothing is heard of the site, no probe is silent by itself.

All figures here are judgement unless the farm sets its own.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise
from statistics import median
from typing import Final, TypeAlias

from rules.model import MINUTE_MS, Instant

Span: TypeAlias = tuple[Instant, Instant]
"""From a moment to a moment."""

LEAST_PROBE_MS: Final = 2 * MINUTE_MS
"""However often a probe reports, it is not missed sooner."""
RARELY_MS: Final = 15 * MINUTE_MS
"""A probe that reports more seldom can hold no value in between (``room_state.LONGEST_HOLD_MS``): its silence is
written down, and is no sign that a gateway or the site is silent."""
LAYER_INTERVALS: Final = 2
"""A gateway or the site is not silent before its quickest probe should have been heard so often."""
LEAST_INTERVALS: Final = 3
"""Fewer intervals than that say nothing of what is usual."""
LEAST_OF_A_GATEWAY: Final = 2
"""With one probe behind a gateway nobody can tell which of the two is silent."""


class Scope(StrEnum):
    """What is silent. The words are kept, and shown to machines."""

    PROBE = "probe"
    ROOM = "room"
    """A room has lost its last probe of something that has a text limit."""
    GATEWAY = "gateway"
    SITE = "site"
    BROKER = "broker"
    """Our own line: the broker is not heard."""
    HOUSEBAND = "houseband"
    """We were not running, or stood still."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """How long each layer may be unheard."""

    probe_intervals: float
    gateway_ms: int
    site_ms: int


@dataclass(frozen=True, slots=True, kw_only=True)
class HeardProbe:
    """A placed probe, as far as hearing it goes."""

    probe: str
    gateway: str | None
    heard_ms: Instant
    """When it was last heard, by our clock, whatever it said."""
    from_ms: Instant
    """Its silence counts from here if it was heard before: it was placed then, or a wider silence ended."""
    usual_ms: int | None
    """Its usual interval; ``None`` while that is not known, or where there is none (a contact)."""

    @property
    def counts_from_ms(self) -> Instant:
        """From when on its present silence counts."""
        return max(self.heard_ms, self.from_ms)

    @property
    def reports_often(self) -> bool:
        """Whether its silence may mean that something wider is silent, or wake anybody."""
        return self.usual_ms is not None and self.usual_ms <= RARELY_MS


@dataclass(frozen=True, slots=True, kw_only=True)
class Silent:
    """Something that was not heard for longer than it may be."""

    scope: Scope
    name: str
    """The probe or the gateway; the site has none."""
    since_ms: Instant
    """When the last of it was heard."""
    counts_from_ms: Instant
    """From when on that counts; not before ``since_ms``."""
    limit_ms: int
    probes: tuple[str, ...]


def usual_interval_ms(times: Iterable[tuple[Instant, Instant]]) -> int | None:
    """How long usually passes before a probe is heard again.

    Args:
        times: when some of its newest readings were measured and received, in any order.

    Returns:
        The longer of two medians, which a night of outages does not move far. By time received alone, a queue that
        was delivered in one second would look like a probe that reports all the time; by time measured alone, a
        probe that sends an hour's readings in one message would be missed within minutes. ``None`` when one of
        them rests on fewer than :data:`LEAST_INTERVALS`.
    """
    pairs = list(times)
    measured, received = (_median_ms(pair[n] for pair in pairs) for n in (0, 1))
    return None if measured is None or received is None else max(measured, received)


def _median_ms(moments: Iterable[Instant]) -> int | None:
    intervals = [b - a for a, b in pairwise(sorted(set(moments)))]
    return round(median(intervals)) if len(intervals) >= LEAST_INTERVALS else None


def listened_ms(spans: Sequence[Span], from_ms: Instant, to_ms: Instant) -> int:
    """For how long of a stretch we were listening.

    Args:
        spans: when we were listening; they do not overlap.
        from_ms: the stretch's beginning.
        to_ms: its end.
    """
    return sum(max(0, min(end, to_ms) - max(begin, from_ms)) for begin, end in spans)


def probe_limit_ms(usual_ms: int, limits: Limits) -> int:
    """How long a probe of this usual interval may be unheard."""
    return max(LEAST_PROBE_MS, round(limits.probe_intervals * usual_ms))


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """A moment, and what counts at it."""

    spans: Sequence[Span]
    """When we were listening, oldest first; the last reaches ``now_ms`` while we are."""
    limits: Limits
    now_ms: Instant

    @property
    def is_listening(self) -> bool:
        """Whether we are listening at this moment."""
        return bool(self.spans) and self.spans[-1][1] >= self.now_ms

    def is_over(self, from_ms: Instant, *, limit_ms: int, interval_ms: int) -> bool:
        """Whether we listened for so long in vain, the last interval of it without a break of ours."""
        if not self.is_listening:
            return False
        unbroken_ms = self.now_ms - max(from_ms, self.spans[-1][0])
        return unbroken_ms >= interval_ms and listened_ms(self.spans, from_ms, self.now_ms) >= limit_ms


def find_silent(probes: Sequence[HeardProbe], look: Look) -> tuple[Silent, ...]:
    """What is silent at a moment; nothing, while we are not listening.

    Args:
        probes: every placed probe that was ever heard.
        look: the moment, our listening, and how long each layer may be unheard.

    Returns:
        The site alone, or silent gateways and the silent probes that belong to none of these. A probe whose whole
        gateway or site may be falling silent with it is not named before that is known.
    """
    often = [p for p in probes if p.reports_often]
    site = silent_site(often, look)
    if site is not None:
        return (site,)
    groups = alive_gateways(often, look.limits)
    found = [_layer(Scope.GATEWAY, name, its, look) for name, its in sorted(groups.items())]
    silent = [one for one in found if one is not None]
    swallowed = {probe for one in silent for probe in one.probes}
    layers = (often, *groups.values())
    for probe in sorted(probes, key=lambda p: p.probe):
        if probe.probe in swallowed or any(_may_fall_silent_together(probe, layer) for layer in layers):
            continue
        one = silent_probe(probe, look)
        silent += [] if one is None else [one]
    return tuple(silent)


def silent_site(probes: Iterable[HeardProbe], look: Look) -> Silent | None:
    """The silence of all probes that report often; ``None`` while one of them is heard."""
    return _layer(Scope.SITE, "", [p for p in probes if p.reports_often], look)


def silent_gateway(name: str, probes: Iterable[HeardProbe], look: Look) -> Silent | None:
    """The silence of one gateway; ``None`` while one of its probes is heard, or when it has too few to tell."""
    members = alive_gateways((p for p in probes if p.reports_often), look.limits).get(name, [])
    return _layer(Scope.GATEWAY, name, members, look)


def silent_probe(probe: HeardProbe, look: Look) -> Silent | None:
    """The silence of one probe, whatever else is silent; ``None`` while it is not beyond its limit."""
    if probe.usual_ms is None:
        return None
    limit_ms = probe_limit_ms(probe.usual_ms, look.limits)
    if not look.is_over(probe.counts_from_ms, limit_ms=limit_ms, interval_ms=probe.usual_ms):
        return None
    return Silent(
        scope=Scope.PROBE,
        name=probe.probe,
        since_ms=probe.heard_ms,
        counts_from_ms=probe.counts_from_ms,
        limit_ms=limit_ms,
        probes=(probe.probe,),
    )


def alive_gateways(probes: Iterable[HeardProbe], limits: Limits) -> dict[str, list[HeardProbe]]:
    """Gateways that can fall silent, each with the probes that would show it.

    A probe that had fallen silent long before the others says nothing about its gateway, and one probe alone
    cannot be told from its gateway.
    """
    groups: dict[str, list[HeardProbe]] = {}
    for probe in probes:
        if probe.gateway:
            groups.setdefault(probe.gateway, []).append(probe)
    alive = {name: _alive(its, limits) for name, its in groups.items()}
    return {name: its for name, its in alive.items() if len(its) >= LEAST_OF_A_GATEWAY}


def _alive(probes: Sequence[HeardProbe], limits: Limits) -> list[HeardProbe]:
    newest_ms = max(p.heard_ms for p in probes)
    return [
        p
        for p in probes
        if p.usual_ms is not None and newest_ms - p.heard_ms <= probe_limit_ms(p.usual_ms, limits)
    ]


def layer_limit_ms(scope: Scope, members: Iterable[HeardProbe], limits: Limits) -> int:
    """How long a gateway or the site may be unheard: never less than its quickest probe needs."""
    least_ms = limits.site_ms if scope is Scope.SITE else limits.gateway_ms
    return max(least_ms, LAYER_INTERVALS * _quickest_ms(members))


def _quickest_ms(members: Iterable[HeardProbe]) -> int:
    return min(p.usual_ms for p in members if p.usual_ms is not None)


def _layer(scope: Scope, name: str, members: Sequence[HeardProbe], look: Look) -> Silent | None:
    if not members:
        return None
    limit_ms = layer_limit_ms(scope, members, look.limits)
    from_ms = max(p.counts_from_ms for p in members)
    if not look.is_over(from_ms, limit_ms=limit_ms, interval_ms=_quickest_ms(members)):
        return None
    return Silent(
        scope=scope,
        name=name,
        since_ms=max(p.heard_ms for p in members),
        counts_from_ms=from_ms,
        limit_ms=limit_ms,
        probes=tuple(sorted(p.probe for p in members)),
    )


def _may_fall_silent_together(probe: HeardProbe, layer: Sequence[HeardProbe]) -> bool:
    """Whether nothing of the layer was heard for longer than this probe's interval after it: all may be silent."""
    if probe not in layer or len(layer) < LEAST_OF_A_GATEWAY or probe.usual_ms is None:
        return False
    return max(p.counts_from_ms for p in layer) - probe.counts_from_ms <= probe.usual_ms


@dataclass(frozen=True, slots=True, kw_only=True)
class Again:
    """Whether something that was silent is heard again, and for long enough to say so."""

    heard_from_ms: Instant | None
    """Since when it is heard again; ``None`` while it is not, or was lost again."""
    is_over: bool = False


def heard_again(
    heard_from_ms: Instant | None,
    *,
    newest_ms: Instant,
    since_ms: Instant,
    still_silent: bool,
    limit_ms: int,
    now_ms: Instant,
) -> Again:
    """Follow something silent until it was heard for as long as it may be unheard.

    Args:
        heard_from_ms: since when it was heard again, as of the last look.
        newest_ms: when it was last heard.
        since_ms: since when it was silent.
        still_silent: whether it is beyond its limit at this moment.
        limit_ms: how long it may be unheard, and must be heard.
        now_ms: the moment.
    """
    if still_silent or newest_ms <= since_ms:
        return Again(heard_from_ms=None)
    begun_ms = newest_ms if heard_from_ms is None else heard_from_ms
    return Again(heard_from_ms=begun_ms, is_over=now_ms - begun_ms >= limit_ms)
