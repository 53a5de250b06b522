"""Every error as problem details (RFC 9457), in words a person can act on, and without anything of our insides."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from http import HTTPStatus
from typing import Any, Final

from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from pydantic import BaseModel, Field
from starlette.exceptions import HTTPException

from service.api.sharing_view import QuantityShared, quantity_shared
from service.errors import NotAllowed, NotFound, NotUnderstood, PassingError, UserError
from service.watch.desk import Desk
from service.watch.sharing import NothingInCommon

MEDIA_TYPE: Final = "application/problem+json"
TRY_AGAIN_S: Final = "2"
_SHOWN: Final = 20
"""A body can be wrong in thousands of places; so many are listed."""

_WORDS: Final[Mapping[int, str]] = {
    400: "The request could not be read.",
    401: "It was not shown who sends this.",
    404: "There is nothing at this address.",
    405: "This address does not take that method.",
    500: "Something went wrong on our side. It is in the service's log.",
    503: "The database cannot be used just now. Nothing was written; try again shortly.",
}
_STATUS: Final[Mapping[type[UserError], int]] = {NotFound: 404, NotAllowed: 409, NotUnderstood: 422}
_DECLARED: Final[Mapping[int, str]] = {
    401: "Nothing proves that it comes from the gateway.",
    404: "What was named does not exist.",
    409: "Not possible from the present state; nothing moved.",
    413: "The message is too large.",
    415: "Not a kind of message that is taken here.",
    422: "The request itself is wrong.",
    500: "Something went wrong on our side.",
    503: "The database cannot be used just now; nothing was written.",
}


class Wrong(BaseModel):
    """One thing that is wrong with a request."""

    where: str = Field(description="Where in the request, such as body.zone.")
    problem: str


class Problem(BaseModel):
    """Problem details, RFC 9457."""

    type: str = "about:blank"
    title: str
    status: int
    detail: str
    errors: list[Wrong] | None = Field(default=None, description="Given when the request itself is wrong.")
    nothing_in_common: list[QuantityShared] | None = Field(
        default=None,
        description="Given when a move was refused because the crops of a room have no common band.",
    )


def declared(*statuses: int) -> dict[int | str, dict[str, Any]]:
    """What OpenAPI says about the problems of a route: these, and those that any route can have."""
    content = {MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}}
    return {
        status: {"description": _DECLARED[status], "content": content}
        for status in sorted({*statuses, 422, 500, 503})
    }


def problem(
    status: int,
    detail: str = "",
    *,
    wrong: Sequence[Wrong] = (),
    unshared: Sequence[QuantityShared] = (),
    headers: Mapping[str, str] | None = None,
) -> Response:
    """An answer that says what is the matter."""
    said = Problem(
        title=HTTPStatus(status).phrase,
        status=status,
        detail=detail or _WORDS.get(status, HTTPStatus(status).phrase),
        errors=list(wrong) or None,
        nothing_in_common=list(unshared) or None,
    )
    # ASCII only: half of a surrogate pair that came in a request must not keep its answer from going out.
    body = json.dumps(said.model_dump(exclude_none=True), ensure_ascii=True)
    return Response(body, status_code=status, media_type=MEDIA_TYPE, headers=headers)


def add_problems(api: FastAPI) -> None:
    """Make every error of this application a problem."""
    api.add_exception_handler(HTTPException, _on_http)
    api.add_exception_handler(RequestValidationError, _on_invalid)
    api.add_exception_handler(UserError, _on_user)
    api.add_exception_handler(NothingInCommon, _on_nothing_in_common)
    api.add_exception_handler(PassingError, _on_passing)
    api.add_exception_handler(Exception, _on_unexpected)


async def _on_http(_request: Request, error: Exception) -> Response:
    if not isinstance(error, HTTPException):
        raise TypeError("registered for HTTPException")
    plain = error.detail == HTTPStatus(error.status_code).phrase
    return problem(error.status_code, "" if plain else error.detail, headers=error.headers)


async def _on_invalid(_request: Request, error: Exception) -> Response:
    if not isinstance(error, RequestValidationError):
        raise TypeError("registered for RequestValidationError")
    found = error.errors()
    wrong = [Wrong(where=_where(e["loc"]), problem=_words(e)) for e in found[:_SHOWN]]
    more = f" (and {len(found) - _SHOWN} more)" if len(found) > _SHOWN else ""
    detail = "; ".join(f"{w.where}: {w.problem}" for w in wrong[:3])
    return problem(422, detail + ("; and more" if len(found) > len(wrong[:3]) else more), wrong=wrong)


def _where(place: Sequence[object]) -> str:
    return ".".join(str(part)[:60] for part in place)


def _words(error: Mapping[str, Any]) -> str:
    if error["type"] == "json_invalid":
        return f"not JSON: {error['ctx']['error']}"
    return str(error["msg"]).removeprefix("Value error, ")


async def _on_user(_request: Request, error: Exception) -> Response:
    status = next((code for kind, code in _STATUS.items() if isinstance(error, kind)), 422)
    return problem(status, str(error))


async def _on_nothing_in_common(request: Request, error: Exception) -> Response:
    if not isinstance(error, NothingInCommon):
        raise TypeError("registered for NothingInCommon")
    desk: Desk = request.app.state.house.state.desk
    return problem(
        409, str(error), unshared=[quantity_shared(share, desk.farm["units"]) for share in error.shares]
    )


async def _on_passing(_request: Request, _error: Exception) -> Response:
    return problem(503, headers={"Retry-After": TRY_AGAIN_S})


async def _on_unexpected(_request: Request, _error: Exception) -> Response:
    """Starlette raises the error again after this answer, so the server logs it."""
    return problem(500)
