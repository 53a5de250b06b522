"""The address at which somebody says what a happening was, and the Friday page."""

from __future__ import annotations

from datetime import date
from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import RedirectResponse
from pydantic import BaseModel
from starlette.responses import Response

from service.errors import NotFound, NotUnderstood
from service.reports.friday import friday_week
from service.reports.week import Week, week_named, week_of
from service.storage import people
from service.storage.figures import figures_of
from service.storage.truths import Harm, What, add_truth
from service.storage.turn import take_turn
from service.watch.desk import Desk
from service.web.friday_page import friday_page
from service.web.paper import page, words_of
from service.web.trouble import PageRoute
from service.web.who import remember

router = APIRouter(route_class=PageRoute, include_in_schema=False)


class Said(BaseModel):
    """What the form sends; each button is one of ``what`` or ``harm``."""

    person_id: str = ""
    what: str = ""
    harm: str = ""
    night: str = ""
    mark: str = ""


@router.post("/happenings/{happening_id:path}/truth")
async def take_truth(request: Request, happening_id: str, said: Annotated[Said, Form()]) -> Response:
    """Somebody says what it was, or what harm it did."""
    desk: Desk = request.app.state.desk
    if not said.person_id:
        raise NotUnderstood("nobody was chosen: say first who you are")
    known = said.what in {"", *What} and said.harm in {"", *Harm}
    if not known or not (said.what or said.harm):
        raise NotUnderstood("the form says neither what it was nor what harm it did")
    async with desk.database.write() as connection:
        await take_turn(connection, desk.farm_id)
        person = await people.person(connection, desk.farm_id, said.person_id)
        await add_truth(
            connection,
            desk.farm_id,
            happening_id,
            what=What(said.what) if said.what else None,
            harm=Harm(said.harm) if said.harm else None,
            who=str(person["name"]),
            now_ms=desk.clock.now_ms(),
        )
    return remember(RedirectResponse(_back_to(said.night, said.mark), status_code=303), said.person_id)


@router.get("/friday")
async def show_friday(request: Request, week: str = "") -> Response:
    """The week in three sentences, and the lists behind them."""
    desk: Desk = request.app.state.desk
    async with desk.database.read() as connection:
        minute = round((await figures_of(connection, desk.farm_id)).friday_minute)
        told = await friday_week(connection, dict(desk.farm), _week(desk, week, minute))
    return page(desk, "friday.html", friday=friday_page(told, words_of(desk)))


def _week(desk: Desk, asked: str, minute: int) -> Week:
    now_ms = desk.clock.now_ms()
    if not asked:
        return week_of(desk.farm, now_ms, minute=minute)
    try:
        friday = date.fromisoformat(asked)
    except ValueError:
        raise NotUnderstood("a week is named by its Friday, such as 2026-11-27") from None
    week = week_named(desk.farm, friday, now_ms, minute=minute)
    if week is None:
        raise NotFound("that is no Friday, or its week has not begun yet")
    return week


def _back_to(night: str, mark: str) -> str:
    """The sheet that the form stood on; whatever else a form says leads to the newest one."""
    try:
        address = f"/?night={date.fromisoformat(night).isoformat()}"
    except ValueError:
        address = "/"
    return f"{address}#{mark}" if mark.replace("-", "").isalnum() and mark.isascii() else address
