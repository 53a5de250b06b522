"""Crops that share a room, as the API shows them."""

from __future__ import annotations

from pydantic import Field

from rules.model import UNIT
from service.api.fields import Answered
from service.api.moments import Shown
from service.watch.sharing import Part, Share, Stated
from service.wording.sharing_sentences import in_common, least_bad, nothing_in_common
from service.wording.units import Units


class SharingCrop(Answered):
    """One kind of crop: what it wants of a quantity, and what the room's band leaves it."""

    profile: str
    version: int
    stage: str
    label: str
    batch_ids: list[str]
    low: float | None
    target: float | None
    high: float | None
    gives_low: float | None = Field(description="By how much its low edge is raised; none where it has no edge.")
    gives_high: float | None = Field(description="By how much its high edge is lowered, alike.")
    gives_share: float | None = Field(
        description="The share of its band it gives up, 0 to 1, where it has a width."
    )
    target_inside: bool | None
    shortfall: float = Field(
        description="How far outside its own band it may stand; 0 where something is in common."
    )
    side: str | None = Field(description="On which side that is.")
    sets_low: bool = Field(description="Whether its low edge binds.")
    sets_high: bool


class QuantityShared(Answered):
    """One quantity of a shared room."""

    quantity: str
    unit: str
    in_common: bool
    low: float | None = Field(description="Of what is in common; of the least bad band where nothing is.")
    high: float | None
    narrow: bool = Field(description="Narrower than a probe may be off: hard to hold.")
    sentence: str = Field(description="What is in common and who gives up what, or why nothing is.")
    least_bad: str = Field(description="What each crop suffers in the least bad band; empty where one suits all.")
    crops: list[SharingCrop]


class CompromiseHere(Answered):
    """A compromise in force."""

    quantity: str
    unit: str
    low: float | None
    high: float | None
    since: Shown
    recorded: Shown
    who: str
    crops: list[SharingCrop] = Field(description="Who puts up with what, as it was when it was accepted.")


class Sharing(Answered):
    """What the crops of a room have in common."""

    suits_all: bool
    quantities: list[QuantityShared]
    compromises: list[CompromiseHere] = Field(description="In force now, by quantity.")


def quantity_shared(share: Share, units: Units) -> QuantityShared:
    """One quantity."""
    return QuantityShared(
        quantity=share.quantity.value,
        unit=UNIT[share.quantity],
        in_common=share.in_common,
        low=share.low,
        high=share.high,
        narrow=share.is_narrow,
        sentence=in_common(share, units) if share.in_common else nothing_in_common(share, units),
        least_bad="" if share.in_common else least_bad(share, units),
        crops=[_crop(part, share) for part in share.parts],
    )


def compromise_here(held: Stated) -> CompromiseHere:
    """A compromise."""
    share = held.share
    return CompromiseHere(
        quantity=share.quantity.value,
        unit=UNIT[share.quantity],
        low=share.low,
        high=share.high,
        since=held.from_ms,
        recorded=held.recorded_ms,
        who=held.who,
        crops=[_crop(part, share) for part in share.parts],
    )


def _crop(part: Part, share: Share) -> SharingCrop:
    profile, version, stage = part.kind
    return SharingCrop(
        profile=profile,
        version=version,
        stage=stage,
        label=part.label,
        batch_ids=list(part.batches),
        low=part.low,
        target=part.target,
        high=part.high,
        gives_low=part.gives_low,
        gives_high=part.gives_high,
        gives_share=part.gives_share,
        target_inside=part.target_inside,
        shortfall=part.shortfall,
        side=None if part.side is None else part.side.value,
        sets_low=part.kind in share.low_from,
        sets_high=part.kind in share.high_from,
    )
