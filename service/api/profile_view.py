"""A species profile as it is shown: every figure with its basis and source, and who stands for it."""

from __future__ import annotations

from collections.abc import Mapping

from pydantic import Field

from rules import profile as model
from rules.model import MINUTE_MS, UNIT, Quantity, Side
from service.api.fields import Answered
from service.api.moments import Shown
from service.storage import profile_versions, views
from service.storage.database import Connection
from service.storage.rows import Record


class OtherFigure(Answered):
    """What another source says, and was not chosen."""

    value: float
    basis: str = Field(description="How far it can be trusted: read, from memory, common practice, or judgement.")
    source: str = Field(description="Where it was read; empty for common practice and judgement.")
    note: str


class Figure(OtherFigure):
    """A number with where it comes from."""

    others: list[OtherFigure] = Field(
        description="What other sources say; the note tells why this one was chosen."
    )


class Band(Answered):
    """What to grow in."""

    quantity: str
    unit: str | None
    low: Figure | None
    target: Figure | None
    high: Figure | None


class Fast(Answered):
    """A shorter wait for what comes fast."""

    change: float = Field(description="Moved away from the band by so much ...")
    within_minutes: float
    wait_minutes: float


class TextLimit(Answered):
    """Where somebody is told."""

    quantity: str
    side: str
    unit: str | None
    limit: Figure
    wait_minutes: float
    recover_margin: float
    recover_minutes: float
    far_limit: Figure | None
    far_wait_minutes: float | None
    below_usual: float | None = Field(description="Also so far below what the room usually shows at that hour.")
    fast: Fast | None


class Stage(Answered):
    """One stage of a crop."""

    stage: str
    text_name: str
    usual_days: tuple[float, float] | None
    usual_days_from: Figure | None
    ramp_minutes: float = Field(description="Its limits are held back so long after it begins.")
    above_people_limit: bool = Field(
        description="CO2 is kept above the limit for people on purpose: air out before entry."
    )
    note: str
    bands: list[Band]
    text_limits: list[TextLimit]
    all_read: bool = Field(description="Every band edge was read in a source.")
    confirmed_by: str | None = Field(description="Who stands for these figures; the first who did.")
    confirmed: Shown | None


class ProfileVersion(Answered):
    """One version of a profile; it never changes."""

    version: int
    who: str = Field(description="Who added it.")
    added: Shown
    copied_from: str | None


class BatchOnProfile(Answered):
    """A batch that is in a room, and the version that it keeps."""

    batch_id: str
    version: int
    room_id: str
    stage: str


class Profile(Answered):
    """A profile, its stages in the order in which they happen."""

    profile: str
    version: int
    species: str
    label: str
    text_name: str
    note: str
    sources: dict[str, str]
    stages: list[Stage]
    versions: list[ProfileVersion] = Field(description="The oldest first.")
    batches: list[BatchOnProfile] = Field(
        description="Those in a room now. A batch keeps the version with which it was written down."
    )


async def profile_of(connection: Connection, farm_id: int, found: model.Profile) -> Profile:
    """A profile as it is shown."""
    confirmed = await views.confirmations_of(connection, farm_id, found.name, found.version)
    versions = await profile_versions.versions_of(connection, farm_id, found.name)
    return Profile(
        profile=found.name,
        version=found.version,
        species=found.species,
        label=found.label,
        text_name=found.text_name,
        note=found.note,
        sources=dict(found.sources),
        stages=[_stage(stage, found.sources, confirmed.get(stage.name)) for stage in found.stages],
        versions=[
            ProfileVersion(
                version=row["version"], who=row["who"], added=row["recorded_ms"], copied_from=row["copied_from"]
            )
            for row in versions
        ],
        batches=[
            BatchOnProfile(**row)
            for row in await profile_versions.batches_in_rooms(connection, farm_id, found.name)
        ],
    )


def _stage(stage: model.Stage, sources: Mapping[str, str], confirmed: Record | None) -> Stage:
    return Stage(
        stage=stage.name,
        text_name=stage.text_name,
        usual_days=stage.usual_days,
        usual_days_from=_figure(stage.usual_days_from, sources),
        ramp_minutes=stage.ramp_ms / MINUTE_MS,
        above_people_limit=stage.above_people_limit,
        note=stage.note,
        bands=[_band(quantity, band, sources) for quantity, band in stage.bands.items()],
        text_limits=[_text_limit(key, text, sources) for key, text in stage.text_limits.items()],
        all_read=stage.all_read,
        confirmed_by=None if confirmed is None else confirmed["who"],
        confirmed=None if confirmed is None else confirmed["recorded_ms"],
    )


def _band(quantity: Quantity, band: model.Band, sources: Mapping[str, str]) -> Band:
    return Band(
        quantity=quantity.value,
        unit=UNIT.get(quantity),
        low=_figure(band.low, sources),
        target=_figure(band.target, sources),
        high=_figure(band.high, sources),
    )


def _text_limit(key: tuple[Quantity, Side], text: model.TextLimit, sources: Mapping[str, str]) -> TextLimit:
    return TextLimit(
        quantity=key[0].value,
        side=key[1].value,
        unit=UNIT.get(key[0]),
        limit=_known(text.limit, sources),
        wait_minutes=text.wait_ms / MINUTE_MS,
        recover_margin=text.recover_margin,
        recover_minutes=text.recover_ms / MINUTE_MS,
        far_limit=_figure(text.far_limit, sources),
        far_wait_minutes=None if text.far_wait_ms is None else text.far_wait_ms / MINUTE_MS,
        below_usual=text.below_usual,
        fast=None if text.fast is None else _fast(text.fast),
    )


def _fast(fast: model.Fast) -> Fast:
    return Fast(
        change=fast.change,
        within_minutes=fast.within_ms / MINUTE_MS,
        wait_minutes=fast.wait_ms / MINUTE_MS,
    )


def _figure(figure: model.Figure | None, sources: Mapping[str, str]) -> Figure | None:
    return None if figure is None else _known(figure, sources)


def _known(figure: model.Figure, sources: Mapping[str, str]) -> Figure:
    others = [_other(one, sources) for one in figure.others]
    return Figure(**dict(_other(figure, sources)), others=others)


def _other(figure: model.Figure, sources: Mapping[str, str]) -> OtherFigure:
    source = sources.get(figure.source, figure.source)
    return OtherFigure(value=figure.value, basis=figure.basis.value, source=source, note=figure.note)
