"""What the crops of a room have in common, before anything is moved."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query

from service.api.access import AtDesk
from service.api.fields import BatchId, ProfileName, RoomId, StageName
from service.api.problems import declared
from service.api.sharing_view import Sharing, compromise_here, quantity_shared
from service.errors import NotUnderstood
from service.storage import rooms
from service.watch.sharing import preview

router = APIRouter(prefix="/rooms", tags=["rooms"])


@router.get(
    "/{room_id}/sharing",
    summary="What the crops of a room have in common now, or would with one more",
    description=(
        "Without profile and stage: what is in the room. With both (newest version): as if that came too. Nothing "
        "is changed."
    ),
    responses=declared(404),
)
async def get_sharing(
    desk: AtDesk,
    room_id: RoomId,
    profile: ProfileName | None = None,
    stage: StageName | None = None,
    batch_id: Annotated[
        BatchId | None, Query(description="The batch that would move or change its stage: counted once.")
    ] = None,
) -> Sharing:
    if (profile is None) != (stage is None):
        raise NotUnderstood("profile and stage belong together: give both or neither")
    coming = None if profile is None or stage is None else (profile, stage)
    async with desk.database.read() as connection:
        await rooms.room(connection, desk.farm_id, room_id)
        looked = await preview(connection, desk, room_id, coming=coming, batch_id=batch_id)
    units = desk.farm["units"]
    return Sharing(
        suits_all=not any(share.clashes for share in looked.shares.values()),
        quantities=[quantity_shared(share, units) for share in looked.shares.values()],
        compromises=[compromise_here(held) for held in looked.compromises.values()],
    )
