"""Species profiles: every figure with its basis and source, who stands for it, and versions of the farm's own."""

from __future__ import annotations

from typing import Annotated, Final

from fastapi import APIRouter, Query, Request, Response
from pydantic import Field
from starlette.exceptions import HTTPException

from service.api.access import AtDesk, changing
from service.api.fields import Answered, Asked, ProfileName, StageName, Version, Who
from service.api.problems import declared
from service.api.profile_view import Profile, profile_of
from service.storage import crops
from service.watch.catalogue import stage_of
from service.watch.own_profiles import add_profile

router = APIRouter(prefix="/profiles", tags=["profiles"])

TOML: Final = "application/toml"
_FILE: Final = {"schema": {"type": "string", "description": "A profile file, as the shipped ones are written."}}


class ProfileLine(Answered):
    """A profile in the list."""

    profile: str
    version: int
    species: str
    label: str
    stages: list[str]


class Confirmation(Asked):
    """Somebody stands for the figures of a stage."""

    stage: StageName | None = Field(description="None: all stages.")
    version: Version | None = Field(default=None, description="The newest, if absent.")
    who: Who


class ProfileAdded(Answered):
    """What came of adding a profile."""

    new: bool = Field(description="False: this very text was there already.")
    to_confirm: list[str] = Field(description="Stages that wake nobody until somebody stands for their figures.")
    still_on_older: list[str] = Field(description="Batches in a room that keep an older version.")
    profile: Profile


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


@router.post(
    "",
    status_code=201,
    summary="Add a profile, or the next version of one",
    description=(
        "The body is a profile file (TOML). A new name begins with version 1; the next version of a name is one "
        "higher, and no version ever changes: 409 for one that is there with other content, 200 when this very "
        "text is there already. Adding is not standing for the figures: a stage with a band edge that was not "
        "read in a source wakes nobody until somebody confirms it, except that a stage which says the same as "
        "in the version before keeps who stood for it. An edited figure may not go on naming the source of the "
        "one it replaced. A batch goes on by the version it has until somebody moves it to another: the stays of "
        "a batch take a profile and a version. Names of profiles that ship are taken: copy one under a name of "
        "your own."
    ),
    responses={200: {"description": "There already.", "model": ProfileAdded}, **declared(409, 413, 415)},
    openapi_extra={"requestBody": {"required": True, "content": {TOML: _FILE}}},
)
async def post_profile(
    desk: AtDesk, request: Request, response: Response, who: Annotated[Who, Query()]
) -> ProfileAdded:
    content_type = request.headers.get("content-type", "")
    if content_type.partition(";")[0].strip().lower() != TOML:
        raise HTTPException(415, f"Send a profile file as {TOML}.")
    body, now_ms = await request.body(), desk.clock.now_ms()
    async with changing(desk) as connection:
        added = await add_profile(
            connection, desk.catalogue, body, file="the profile sent", who=who, now_ms=now_ms
        )
        shown = await profile_of(connection, desk.farm_id, added.profile)
    response.status_code = 201 if added.is_new else 200
    return ProfileAdded(
        new=added.is_new,
        to_confirm=[s.stage for s in shown.stages if not s.all_read and s.confirmed_by is None],
        still_on_older=[b.batch_id for b in shown.batches if b.version < shown.version],
        profile=shown,
    )


@router.get("/{name}", summary="A profile with every figure's source", responses=declared(404))
async def get_profile(desk: AtDesk, name: ProfileName, version: Version | None = None) -> Profile:
    async with desk.database.read() as connection:
        found = await desk.catalogue.get(connection, name, version)
        return await profile_of(connection, desk.farm_id, found)


@router.get(
    "/{name}/toml",
    summary="A profile as the file it was",
    response_class=Response,
    responses={200: {"description": "The file, word for word.", "content": {TOML: _FILE}}, **declared(404)},
)
async def get_profile_file(desk: AtDesk, name: ProfileName, version: Version | None = None) -> Response:
    async with desk.database.read() as connection:
        row = await crops.profile(connection, desk.farm_id, name, version)
    return Response(row["body"], media_type=TOML)


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
        return await profile_of(connection, desk.farm_id, found)
