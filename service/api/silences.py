"""What is not heard now, and what was not in a span."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query
from pydantic import Field

from service.api.access import AtDesk
from service.api.fields import Answered
from service.api.moments import Moment, Shown
from service.api.problems import declared
from service.storage import silences
from service.storage.silences import SilenceRow

router = APIRouter(prefix="/silences", tags=["probes"])


class Silence(Answered):
    """Something that is not heard, or was not."""

    scope: str = Field(
        description="probe, room (it has lost its last probe of something with a text limit), gateway, site, "
        "broker (our own line), or houseband (we did not run)."
    )
    name: str = Field(description="The probe, room or gateway.")
    room_id: str | None = Field(description="Of a probe or room.")
    since: Shown = Field(description="When the last of it was heard.")
    noticed: Shown
    told: Shown | None = Field(description="When people were told; none: for the round sheet only.")
    ended: Shown | None = Field(description="Since when it is heard again; none while it is not.")
    happening_id: str | None = Field(description="Where it is told and answered.")


@router.get(
    "",
    summary="What is not heard",
    description="Now; or, with both moments, whatever was not heard at some time between them. Oldest first.",
    responses=declared(422),
)
async def get_silences(
    desk: AtDesk,
    *,
    from_ms: Annotated[Moment | None, Query(alias="from")] = None,
    to_ms: Annotated[Moment | None, Query(alias="to")] = None,
) -> list[Silence]:
    async with desk.database.read() as connection:
        if from_ms is None and to_ms is None:
            rows = await silences.open_silences(connection, desk.farm_id)
        else:
            now_ms = desk.clock.now_ms()
            rows = await silences.silences_between(
                connection, desk.farm_id, from_ms=from_ms or 0, to_ms=now_ms if to_ms is None else to_ms
            )
    return [_silence(row) for row in rows]


def _silence(row: SilenceRow) -> Silence:
    return Silence(
        scope=row.scope,
        name=row.name,
        room_id=row.facts.get("room_id"),
        since=row.since_ms,
        noticed=row.noticed_ms,
        told=row.told_ms,
        ended=row.ended_ms,
        happening_id=row.happening_id,
    )
