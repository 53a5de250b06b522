"""What was told to whom: notices, and each telling of one with its tries and where it was given up."""

from __future__ import annotations

from typing import Annotated, Any, Literal, TypeAlias

from fastapi import APIRouter, Query
from pydantic import Field

from service.api.access import AskedLimit, AskedSpan, AtDesk
from service.api.fields import Answered
from service.api.moments import Shown
from service.api.problems import declared
from service.storage import views
from service.storage.rows import Record
from service.wording.hidden_link import without_link

router = APIRouter(tags=["tellings"])

State: TypeAlias = Literal["waiting", "sent", "gave up", "missed", "cancelled", "unsure"]


class Notice(Answered):
    """What happened, with its facts as they were known then."""

    notice_key: str
    kind: str
    telling: str = Field(
        description="wake: told at once; danger: told at once, held back by nothing; round: on the round sheet."
    )
    room_id: str | None
    happening_id: str | None
    at: Shown = Field(description="When it happened.")
    decided: Shown = Field(description="When we knew.")
    use_by: Shown = Field(description="Not sent later than that.")
    finished: bool = Field(description="Nobody further will be told.")
    facts: dict[str, Any]


class Notices(Answered):
    """Notices of a span, newest first."""

    rows: list[Notice]
    more: bool = Field(description="The span holds more than the limit: ask for a shorter one.")


class Try(Answered):
    """One try to tell."""

    number: int
    at: Shown
    outcome: str
    detail: str


class Delivery(Answered):
    """One telling of a notice to one person by one way."""

    delivery_id: str = Field(description="Sent along with every try, so that a second one can be known as such.")
    notice_key: str
    kind: str
    room_id: str | None
    at: Shown
    step: int
    person_id: str
    way: str
    state: str
    next_try: Shown | None = Field(description="While it waits.")
    use_by: Shown
    ended: Shown | None
    detail: str
    text: str = Field(description="As it was sent, but for the end of a link that answers for this person.")
    tries: list[Try]


class Deliveries(Answered):
    """Tellings of a span, newest first."""

    rows: list[Delivery]
    more: bool = Field(description="The span holds more than the limit: ask for a shorter one.")


@router.get("/notices", summary="What there was to tell", responses=declared())
async def get_notices(desk: AtDesk, span: AskedSpan, limit: AskedLimit = 200) -> Notices:
    bounds = {"from_ms": span.from_ms, "to_ms": span.to_ms, "limit": limit + 1}
    async with desk.database.read() as connection:
        rows = await views.newest_notices(connection, desk.farm_id, **bounds)
    return Notices(rows=[_notice(row) for row in rows[:limit]], more=len(rows) > limit)


@router.get("/deliveries", summary="What was told to whom, and what came of it", responses=declared())
async def get_deliveries(
    desk: AtDesk, span: AskedSpan, state: Annotated[State | None, Query()] = None, limit: AskedLimit = 200
) -> Deliveries:
    bounds = {"from_ms": span.from_ms, "to_ms": span.to_ms, "limit": limit + 1}
    async with desk.database.read() as connection:
        rows = await views.newest_tellings(connection, desk.farm_id, state=state, **bounds)
    return Deliveries(rows=[_delivery(row) for row in rows[:limit]], more=len(rows) > limit)


def _notice(row: Record) -> Notice:
    same = ("notice_key", "kind", "telling", "room_id", "happening_id", "facts")
    plain: dict[str, Any] = {name: row[name] for name in same}
    return Notice(
        **plain,
        at=row["at_ms"],
        decided=row["decided_ms"],
        use_by=row["use_by_ms"],
        finished=bool(row["addressed"]),
    )


def _delivery(row: Record) -> Delivery:
    same = (
        "delivery_id", "notice_key", "kind", "room_id", "step", "person_id", "way", "state", "detail",
    )  # fmt: skip
    plain: dict[str, Any] = {name: row[name] for name in same}
    tries = [
        Try(number=one["attempt"], at=one["at_ms"], outcome=one["outcome"], detail=one["detail"])
        for one in row["tries"]
    ]
    waits = row["state"] == "waiting"
    return Delivery(
        **plain,
        text=without_link(row["text"]),
        at=row["at_ms"],
        next_try=row["next_ms"] if waits else None,
        use_by=row["use_by_ms"],
        ended=row["ended_ms"],
        tries=tries,
    )
