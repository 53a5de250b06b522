"""Species profiles: every figure with its basis and source, and who stands for it."""

from __future__ import annotations

from collections.abc import Mapping

from fastapi import APIRouter
from pydantic import Field

from rules import profile as model
from rules.model import MINUTE_MS, UNIT, Quantity, Side
from service.api.access import AtDesk, changing
from service.api.fields import Answered, Asked, ProfileName, StageName, Version, Who
from service.api.moments import Shown
from service.api.problems import declared
from service.storage import crops, views
from service.storage.database import Connection
from service.storage.rows import Record
from service.watch.catalogue import stage_of
from service.watch.desk import Desk

router = APIRouter(prefix="/profiles", tags=["profiles"])


class Figure(Answered):
    """A number with where it comes from."""

    value: float
    basis: str = Field(description="How far it can be trusted: read, from memory, common practice, or judgement.")
    source: str = Field(description="Where it was read; empty for common practice and judgement.")
    note: str


class Band(Answered):
    """What to grow in."""

    quantity: str
    unit: str | None
    low: Figure | None
    target: Figure | None
    high: Figure | None


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


class Stage(Answered):
    """One stage of a crop."""

    stage: str
    text_name: str
    usual_days: tuple[float, float] | None
    usual_days_from: Figure | None
    note: str
    bands: list[Band]
    text_limits: list[TextLimit]
    all_read: bool = Field(description="Every band edge was read in a source.")
    confirmed_by: str | None = Field(description="Who stands for these figures; the first who did.")
    confirmed: Shown | None


class ProfileLine(Answered):
    """A profile in the list."""

    profile: str
    version: int
    species: str
    label: str
    stages: list[str]


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


class Confirmation(Asked):
    """Somebody stands for the figures of a stage."""

    stage: StageName | None = Field(description="None: all stages.")
    version: Version | None = Field(default=None, description="The newest, if absent.")
    who: Who


@router.get("", summary="The newest version of every profile", responses=declared())
async def get_profiles(desk: AtDesk) -> list[ProfileLine]:
    async with desk.database.read() as connection:
        found = await desk.catalogue.newest(connection)
    return [
        ProfileLine(
            profile=profile.name,
            version=profile.version,
            species=profile.species,
            label=profile.label,
            stages=[stage.name for stage in profile.stages],
        )
        for profile in found
    ]


@router.get("/{name}", summary="A profile with every figure's source", responses=declared(404))
async def get_profile(desk: AtDesk, name: ProfileName, version: Version | None = None) -> Profile:
    async with desk.database.read() as connection:
        found = await desk.catalogue.get(connection, name, version)
        return await _profile(connection, desk, found)


@router.post(
    "/{name}/confirmations",
    status_code=201,
    summary="Stand for the figures of a stage, or of all",
    description=(
        "Figures that were not read in a source wake nobody until somebody stands for them. The first who did "
        "stays named."
    ),
    responses=declared(404),
)
async def post_confirmation(desk: AtDesk, name: ProfileName, asked: Confirmation) -> Profile:
    async with changing(desk) as connection:
        found = await desk.catalogue.get(connection, name, asked.version)
        stages = found.stages if asked.stage is None else (stage_of(found, asked.stage),)
        for stage in stages:
            values = {
                "profile": found.name,
                "version": found.version,
                "stage": stage.name,
                "recorded_ms": desk.clock.now_ms(),
                "who": asked.who,
            }
            await crops.confirm(connection, desk.farm_id, values)
        return await _profile(connection, desk, found)


async def _profile(connection: Connection, desk: Desk, found: model.Profile) -> Profile:
    confirmed = await views.confirmations_of(connection, desk.farm_id, found.name, found.version)
    return Profile(
        profile=found.name,
        version=found.version,
        species=found.species,
        label=found.label,
        text_name=found.text_name,
        note=found.note,
        sources=dict(found.sources),
        stages=[_stage(stage, found.sources, confirmed.get(stage.name)) for stage in found.stages],
    )


def _stage(stage: model.Stage, sources: Mapping[str, str], confirmed: Record | None) -> Stage:
    return Stage(
        stage=stage.name,
        text_name=stage.text_name,
        usual_days=stage.usual_days,
        usual_days_from=_figure(stage.usual_days_from, sources),
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
    )


def _figure(figure: model.Figure | None, sources: Mapping[str, str]) -> Figure | None:
    return None if figure is None else _known(figure, sources)


def _known(figure: model.Figure, sources: Mapping[str, str]) -> Figure:
    source = sources.get(figure.source, figure.source)
    return Figure(value=figure.value, basis=figure.basis.value, source=source, note=figure.note)
