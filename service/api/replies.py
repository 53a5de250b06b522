"""Texts that came in: from whom, and what each came to; those of nobody's number among them."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query
from pydantic import Field

from service.api.access import AskedLimit, AskedSpan, AtDesk
from service.api.fields import Answered
from service.api.moments import Shown
from service.api.problems import declared
from service.storage import inbound
from service.storage.rows import Record

router = APIRouter(prefix="/inbound", tags=["inbound"])


class TextThatCame(Answered):
    """A text that came in."""

    inbound_id: str
    way: str
    phone: str = Field(description="As it came; empty where it came another way.")
    text: str
    received: Shown
    person_id: str | None = Field(description="Null: the number is nobody's, and nothing was answered.")
    person: str | None
    word: str | None = Field(description="What was understood.")
    happening_id: str | None
    result: str = Field(description="What it came to.")


class TextsThatCame(Answered):
    """Texts of a span, newest first."""

    rows: list[TextThatCame]
    more: bool = Field(description="The span holds more than the limit: ask for a shorter one.")


@router.get("", summary="Texts that came in, and what each came to", responses=declared())
async def get_inbound(
    desk: AtDesk,
    span: AskedSpan,
    unknown: Annotated[
        bool | None, Query(description="Only from numbers that are nobody's (true), or only from people (false).")
    ] = None,
    limit: AskedLimit = 200,
) -> TextsThatCame:
    bounds = {"from_ms": span.from_ms, "to_ms": span.to_ms, "limit": limit + 1}
    async with desk.database.read() as connection:
        rows = await inbound.inbound_between(connection, desk.farm_id, unknown=unknown, **bounds)
    return TextsThatCame(rows=[_shown(row) for row in rows[:limit]], more=len(rows) > limit)


def _shown(row: Record) -> TextThatCame:
    same = ("inbound_id", "way", "phone", "text", "person_id", "word", "happening_id", "result")
    plain: dict[str, Any] = {name: row[name] for name in same}
    return TextThatCame(**plain, person=row["name"], received=row["received_ms"])
