"""Whether crops can share one room: what they have in common, whose edge binds, and who gives up what.

Bands are closed: a value on the edge suits the crop. What several crops have in common is therefore the highest
low edge to the lowest high edge, and may be a single value (:attr:`Share.is_narrow` warns of that). An absent edge
asks for nothing.

Where nothing is in common, the *least bad* band is worked out. It is centred on the value that makes the largest
shortfall of any crop smallest, a shortfall being how far a crop stands outside its own band. That value is the
middle between the lowest high edge and the highest low edge: a step to either side favours one of the two crops at
the other's cost, and no further crop stands farther out than these two. Around the middle it reaches two probe
accuracies either way, one for the probe and one for the swing of the equipment (our judgement), but never past the
two edges: beyond them one crop would pay more than the whole gap. As the gap closes, the least bad band shrinks to
the common value.

Shortfalls are compared in the quantity's unit, not as shares of each crop's band: a band without a second edge has
no width, and a band is often wide because its sources disagree, not because the crop minds less.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Protocol, TypeAlias

from rules.model import Instant, Quantity, Side
from rules.profile import Band, Figure, Profile, Stage
from rules.profile_limits import probe_accuracy
from rules.stays import ProfileKey, Stay, present

ROOM_WIDE: Final = frozenset({Quantity.TEMPERATURE, Quantity.HUMIDITY, Quantity.CO2, Quantity.LIGHT})
"""What a room has only one of. Soak water, cores and surfaces belong to one tank, block or shelf each."""
REACH: Final = 2.0
"""How many probe accuracies the least bad band reaches to either side of its middle."""

KindKey: TypeAlias = tuple[str, int, str]
"""Name and version of a profile, and a stage: what has the same bands."""


class Grown(Protocol):
    """A batch at a stage, as far as sharing a room needs to know it."""

    @property
    def batch(self) -> str:
        """Its id."""

    @property
    def profile(self) -> Profile:
        """What it is."""

    @property
    def stage(self) -> Stage:
        """Where in its life it is."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sharer:
    """A batch that is in a room, or would be."""

    batch: str
    profile: Profile
    stage: Stage


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """What one kind of crop wants of a quantity, and what the room's band leaves it of that."""

    kind: KindKey
    label: str
    stage: str
    """As people read it, such as ``pins``."""
    batches: tuple[str, ...]
    low: float | None
    target: float | None
    high: float | None
    gives_low: float | None
    """By how much its low edge is raised; ``None`` where it had none and the room has one."""
    gives_high: float | None
    """By how much its high edge is lowered, alike."""
    target_inside: bool | None
    """Whether the room's band holds its target; ``None`` without a target."""
    side: Side | None
    """On which side of its own band it has to stand; ``None`` where the room's band lies inside it."""
    shortfall: float
    """How far outside its own band it may stand while the room is inside the room's; 0 inside."""

    @property
    def gives_share(self) -> float | None:
        """Which share of its band it gives up, 0 to 1; ``None`` where that is no number, as without an edge."""
        if self.low is None or self.high is None or self.gives_low is None or self.gives_high is None:
            return None
        return min((self.gives_low + self.gives_high) / (self.high - self.low), 1.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Share:
    """One quantity of a room in which some crops have a band for it."""

    quantity: Quantity
    in_common: bool
    """False where no value suits all; then ``low`` to ``high`` is the least bad band."""
    low: float | None
    high: float | None
    low_from: tuple[KindKey, ...]
    """Whose low edge is the highest: it binds. Several where edges are equal, none where there is no low edge."""
    high_from: tuple[KindKey, ...]
    """Whose high edge is the lowest."""
    gap: float
    """How far the two binding edges are apart where nothing is in common; 0 otherwise."""
    parts: tuple[Part, ...]
    """By kind, so that the order of crops does not matter."""

    @property
    def kinds(self) -> frozenset[KindKey]:
        """The kinds that have a band."""
        return frozenset(part.kind for part in self.parts)

    @property
    def is_narrow(self) -> bool:
        """True where what is in common is narrower than a probe may be off either way: hard to hold, or to see."""
        if not self.in_common or self.low is None or self.high is None:
            return False
        return self.high - self.low < 2 * probe_accuracy(self.quantity, self.low)

    @property
    def clashes(self) -> bool:
        """True where a room cannot suit all its crops."""
        return not self.in_common and self.quantity in ROOM_WIDE


def sharing(crops: Iterable[Grown]) -> dict[Quantity, Share]:
    """For every quantity that a crop in the room has an edge for: the band of the room, and what it costs each."""
    kinds: dict[KindKey, list[Grown]] = {}
    for crop in crops:
        kinds.setdefault((crop.profile.name, crop.profile.version, crop.stage.name), []).append(crop)
    ordered = [kinds[key] for key in sorted(kinds)]
    shares = (_share(quantity, ordered) for quantity in Quantity)
    return {share.quantity: share for share in shares if share is not None}


def sharers(
    stays: Iterable[Stay], profiles: Mapping[ProfileKey, Profile], room_id: str, at_ms: Instant
) -> list[Sharer]:
    """The batches in a room at a moment."""
    here = present(stays, room_id, at_ms)
    return [
        Sharer(batch=s.batch, profile=profiles[s.profile], stage=profiles[s.profile].stage(s.stage)) for s in here
    ]


def least_bad(quantity: Quantity, highest_low: float, lowest_high: float) -> tuple[float, float]:
    """The band for crops that have nothing in common; what they have in common where there is something.

    Args:
        quantity: of which probe accuracy decides how far the band reaches.
        highest_low: the highest low edge of all crops, in the quantity's unit.
        lowest_high: their lowest high edge.
    """
    if highest_low <= lowest_high:
        return highest_low, lowest_high
    middle = lowest_high + (highest_low - lowest_high) / 2
    reach = REACH * probe_accuracy(quantity, middle)
    return max(lowest_high, middle - reach), min(highest_low, middle + reach)


def _share(quantity: Quantity, kinds: Sequence[Sequence[Grown]]) -> Share | None:
    wanting = [(crops, crops[0].stage.bands[quantity]) for crops in kinds if quantity in crops[0].stage.bands]
    lows = {_key(crops[0]): band.low.value for crops, band in wanting if band.low is not None}
    highs = {_key(crops[0]): band.high.value for crops, band in wanting if band.high is not None}
    if not lows and not highs:
        return None
    low, high = max(lows.values(), default=None), min(highs.values(), default=None)
    low_from = tuple(key for key, edge in lows.items() if edge == low)
    high_from = tuple(key for key, edge in highs.items() if edge == high)
    gap = 0.0 if low is None or high is None else max(low - high, 0.0)
    if low is not None and high is not None:
        low, high = least_bad(quantity, low, high)
    return Share(
        quantity=quantity,
        in_common=gap == 0.0,
        low=low,
        high=high,
        low_from=low_from,
        high_from=high_from,
        gap=gap,
        parts=tuple(_part(crops, band, low, high) for crops, band in wanting),
    )


def _key(crop: Grown) -> KindKey:
    return crop.profile.name, crop.profile.version, crop.stage.name


def _part(crops: Sequence[Grown], band: Band, low: float | None, high: float | None) -> Part:
    own_low, target, own_high = _value(band.low), _value(band.target), _value(band.high)
    over = 0.0 if high is None or own_high is None else max(high - own_high, 0.0)
    under = 0.0 if low is None or own_low is None else max(own_low - low, 0.0)
    side = (Side.HIGH if over >= under else Side.LOW) if over or under else None
    return Part(
        kind=_key(crops[0]),
        label=crops[0].profile.label,
        stage=crops[0].stage.text_name,
        batches=tuple(sorted(crop.batch for crop in crops)),
        low=own_low,
        target=target,
        high=own_high,
        gives_low=_given(low, own_low),
        gives_high=_given(None if high is None else -high, None if own_high is None else -own_high),
        target_inside=None if target is None else _holds(low, target, high),
        side=side,
        shortfall=max(over, under),
    )


def _value(figure: Figure | None) -> float | None:
    return None if figure is None else figure.value


def _given(edge: float | None, own: float | None) -> float | None:
    """How far inward of its own edge the room's edge lies."""
    if edge is None:
        return 0.0
    return None if own is None else max(edge - own, 0.0)


def _holds(low: float | None, value: float, high: float | None) -> bool:
    return (low is None or low <= value) and (high is None or value <= high)
