"""A profile file as Houseband reads it, in lines for whoever wrote it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from rules.model import MINUTE_MS, UNIT, Quantity, Side
from rules.profile import Band, Profile, Stage, TextLimit
from rules.profile_copy import not_read

_HOURS_BELOW_DAYS: Final = 2


def profile_lines(profile: Profile) -> list[str]:
    """What was read: stages, bands, text limits, and which stages wake nobody until somebody stands for them."""
    copied = "" if profile.copied_from is None else ", copied from {} version {}".format(*profile.copied_from)
    head = f"{profile.name} version {profile.version}: {profile.label} ({profile.species}){copied}"
    return [head, *(line for stage in profile.stages for line in ("", *_stage(stage)))]


def waiting_stages(profile: Profile) -> list[str]:
    """The stages that wake nobody until a named person confirms their figures."""
    return [stage.name for stage in profile.stages if not stage.all_read]


def _stage(stage: Stage) -> Iterator[str]:
    usually = "" if stage.usual_days is None else f", usually {_days(*stage.usual_days)}"
    yield f'{stage.name}, "{stage.text_name}" in texts{usually}'
    for quantity, band in stage.bands.items():
        yield f"  {quantity}: {_band(band, UNIT[quantity])}"
        for side in (Side.LOW, Side.HIGH):
            if (quantity, side) in stage.text_limits:
                yield from _text_limit(quantity, side, stage.text_limits[quantity, side])
    if not stage.text_limits:
        yield "  no text limits: this stage is only shown"
    if stage.ramp_ms:
        yield f"  limits are held back for {_minutes(stage.ramp_ms)} after the stage begins"
    if stage.above_people_limit:
        yield "  CO2 is kept above the limit for people on purpose: air out before entry"
    unread = not_read(stage)
    if unread:
        yield f"  not read in a source: {', '.join(unread)}"
    if not stage.all_read:
        yield "  wakes nobody until a named person confirms these figures"


def _band(band: Band, unit: str) -> str:
    low, target, high = (figure and f"{figure.value:g}" for figure in (band.low, band.target, band.high))
    if low and high:
        edges = f"{low} to {high} {unit}"
    else:
        edges = f"from {low} {unit}" if low else f"up to {high} {unit}" if high else ""
    aim = f"aim {target}" if target else ""
    return ", ".join(part for part in (edges, aim) if part) + ("" if edges else f" {unit}")


def _text_limit(quantity: Quantity, side: Side, text: TextLimit) -> Iterator[str]:
    beyond = "below" if side is Side.LOW else "above"
    back = text.limit.value + (text.recover_margin if side is Side.LOW else -text.recover_margin)
    far = ""
    if text.far_limit is not None and text.far_wait_ms is not None:
        far = f", {beyond} {text.far_limit.value:g} after {_minutes(text.far_wait_ms)}"
    yield (
        f"    texts {beyond} {text.limit.value:g} {UNIT[quantity]} after {_minutes(text.wait_ms)}{far}; "
        f"back once at {back:g} for {_minutes(text.recover_ms)}"
    )
    if text.below_usual is not None:
        yield f"    also texts {text.below_usual:g} below what the room usually shows at that hour"
    if text.fast is not None:
        yield (
            f"    waits only {_minutes(text.fast.wait_ms)} when it moved by {text.fast.change:g} within "
            f"{_minutes(text.fast.within_ms)}"
        )


def _days(shortest: float, longest: float) -> str:
    if longest < _HOURS_BELOW_DAYS:
        return f"{_span(24 * shortest, 24 * longest)} hours"
    return f"{_span(shortest, longest)} days"


def _span(shortest: float, longest: float) -> str:
    return f"{longest:g}" if shortest == longest else f"{shortest:g} to {longest:g}"


def _minutes(ms: int) -> str:
    return f"{ms / MINUTE_MS:g} min"
