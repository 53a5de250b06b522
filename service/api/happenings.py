"""Happenings: who was told what, what they answered, and what it turned out to be."""

from __future__ import annotations

from typing import Annotated, TypeAlias

from fastapi import APIRouter, Path
from pydantic import Field, model_validator

from service.api.access import AskedLimit, AskedSpan, AtDesk, changing
from service.api.fields import Answered, Asked, Who
from service.api.moments import Shown
from service.api.problems import declared
from service.reports.friday import was_true
from service.storage import happenings, truths
from service.storage.database import Connection
from service.storage.rows import Record
from service.storage.truths import Harm, What

router = APIRouter(prefix="/happenings", tags=["happenings"])

HappeningId: TypeAlias = Annotated[
    str, Path(min_length=1, max_length=200, description="As a list of them says it.")
]


class TruthAsked(Asked):
    """What it was, or what harm it did, or both; what is left out stays as it was said before."""

    what: Annotated[What, Field(strict=False)] | None = None
    harm: Annotated[Harm, Field(strict=False, description="Seen on the crop.")] | None = None
    who: Who

    @model_validator(mode="after")
    def _something(self) -> TruthAsked:
        if self.what is None and self.harm is None:
            raise ValueError("say what it was, what harm it did, or both")
        return self


class Truth(Answered):
    """What somebody said of a happening."""

    what: str | None
    harm: str | None
    who: str
    recorded: Shown


class Truths(Answered):
    """Everything that was said of a happening."""

    happening_id: str
    newest: Truth | None = Field(description="What holds.")
    worth_it: bool | None = Field(
        description="True where gear failed or the crop shows harm, else false; none while nobody has said."
    )
    all: list[Truth] = Field(description="Oldest first.")


class TrailTelling(Answered):
    """One telling to one person."""

    kind: str
    person_id: str
    name: str | None
    way: str
    step: int
    state: str
    added: Shown
    first_try: Shown | None
    ended: Shown | None
    receipt: str | None = Field(description="What the gateway said later: delivered or failed.")
    receipt_at: Shown | None
    detail: str
    text: str


class TrailAnswer(Answered):
    """What a person answered."""

    person_id: str
    name: str | None
    word: str
    way: str
    at: Shown


class Happening(Answered):
    """One unbroken time with something open, with its trail."""

    happening_id: str
    room_id: str | None
    began: Shown
    ended: Shown | None
    closed: Shown | None = Field(description="Nothing more is expected of anybody.")
    woke: bool
    part_of: str | None = Field(description="The happening of the whole farm that it was merged into.")
    tellings: list[TrailTelling]
    answers: list[TrailAnswer]
    truth: Truth | None


class Happenings(Answered):
    """Happenings that were under way in a span, newest first."""

    rows: list[Happening]
    more: bool = Field(description="The span holds more than the limit: ask for a shorter one.")


@router.get("", summary="What happened, and who was told what", responses=declared())
async def get_happenings(desk: AtDesk, span: AskedSpan, limit: AskedLimit = 200) -> Happenings:
    async with desk.database.read() as connection:
        rows = await happenings.happenings_between(
            connection, desk.farm_id, from_ms=span.from_ms, to_ms=span.to_ms, limit=limit + 1
        )
        shown = await _with_trails(connection, desk.farm_id, rows[:limit])
    return Happenings(rows=shown, more=len(rows) > limit)


@router.get("/{happening_id:path}/truth", summary="What a happening turned out to be", responses=declared(404))
async def get_truth(desk: AtDesk, happening_id: HappeningId) -> Truths:
    async with desk.database.read() as connection:
        return await _truths(connection, desk.farm_id, happening_id)


@router.post(
    "/{happening_id:path}/truth",
    status_code=201,
    summary="Say what a happening was",
    description="Every answer is kept; the newest holds.",
    responses=declared(404),
)
async def post_truth(desk: AtDesk, happening_id: HappeningId, asked: TruthAsked) -> Truths:
    async with changing(desk) as connection:
        await truths.add_truth(
            connection,
            desk.farm_id,
            happening_id,
            what=asked.what,
            harm=asked.harm,
            who=asked.who,
            now_ms=desk.clock.now_ms(),
        )
        return await _truths(connection, desk.farm_id, happening_id)


async def _truths(connection: Connection, farm_id: int, happening_id: str) -> Truths:
    await happenings.happening(connection, farm_id, happening_id)
    rows = await truths.truths_of(connection, farm_id, {happening_id})
    newest = rows[-1] if rows else None
    return Truths(
        happening_id=happening_id,
        newest=None if newest is None else _truth(newest),
        worth_it=was_true(newest),
        all=[_truth(row) for row in rows],
    )


async def _with_trails(connection: Connection, farm_id: int, rows: list[Record]) -> list[Happening]:
    ids = [row["happening_id"] for row in rows]
    tellings = await happenings.tellings_of(connection, farm_id, ids)
    answers = await happenings.answers_of(connection, farm_id, ids)
    said = await truths.newest_truths(connection, farm_id, ids)
    return [
        Happening(
            happening_id=row["happening_id"],
            room_id=row["room_id"],
            began=row["began_ms"],
            ended=row["ended_ms"],
            closed=row["closed_ms"],
            woke=bool(row["woke"]),
            part_of=row["part_of"],
            tellings=[_telling(t) for t in tellings if t["happening_id"] == row["happening_id"]],
            answers=[_answer(a) for a in answers if a["happening_id"] == row["happening_id"]],
            truth=_truth(said[row["happening_id"]]) if row["happening_id"] in said else None,
        )
        for row in rows
    ]


def _telling(row: Record) -> TrailTelling:
    return TrailTelling(
        kind=row["kind"],
        person_id=row["person_id"],
        name=row["name"],
        way=row["way"],
        step=row["step"],
        state=row["state"],
        added=row["added_ms"],
        first_try=row["first_try_ms"],
        ended=row["ended_ms"],
        receipt=row["receipt"],
        receipt_at=row["receipt_ms"],
        detail=row["detail"],
        text=row["text"],
    )


def _answer(row: Record) -> TrailAnswer:
    return TrailAnswer(
        person_id=row["person_id"], name=row["name"], word=row["word"], way=row["way"], at=row["at_ms"]
    )


def _truth(row: Record) -> Truth:
    return Truth(what=row["what"] or None, harm=row["harm"] or None, who=row["who"], recorded=row["recorded_ms"])
