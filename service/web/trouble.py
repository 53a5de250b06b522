"""Errors as pages in plain words: what is wrong, whether anything changed, and what to do."""

from __future__ import annotations

from collections.abc import Callable, Coroutine
from dataclasses import dataclass
from typing import Any, Final

from fastapi.exceptions import RequestValidationError
from fastapi.routing import APIRoute
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from service.errors import HousebandError, NotAllowed, NotFound, NotUnderstood, PassingError
from service.log import log
from service.watch.desk import Desk
from service.web.paper import page


@dataclass(frozen=True, slots=True, kw_only=True)
class Trouble:
    """One kind of trouble."""

    status: int
    title: str
    what_to_do: str


_NOT_UNDERSTOOD: Final = Trouble(
    status=422, title="That was not understood", what_to_do="Nothing was changed. Go back and try again."
)
_KINDS: Final[dict[type[Exception], Trouble]] = {
    NotFound: Trouble(status=404, title="Nothing of that name", what_to_do="Look for it on the round sheet."),
    NotAllowed: Trouble(
        status=409, title="Not possible as things stand", what_to_do="Nothing was changed. Look again first."
    ),
    NotUnderstood: _NOT_UNDERSTOOD,
    RequestValidationError: _NOT_UNDERSTOOD,
    PassingError: Trouble(
        status=503,
        title="The books cannot be opened just now",
        what_to_do="Nothing was changed. Readings wait and are not lost. Try again in a minute.",
    ),
}
_OURS: Final = Trouble(
    status=500,
    title="Something broke on our side",
    what_to_do="It is written down for whoever looks after Houseband. Watching and texting do not need this page.",
)


class PageRoute(APIRoute):
    """A route whose errors become pages."""

    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        """Wrap the handler of the route."""
        handle = super().get_route_handler()

        async def handle_or_explain(request: Request) -> Response:
            try:
                return await handle(request)
            except HTTPException:
                raise
            except (HousebandError, RequestValidationError) as error:
                return _explained(request, error)
            except Exception:  # noqa: BLE001 - a person at a page gets words, the log gets the rest
                log.exception("page failed", path=request.url.path)
                return _page(request, _OURS, "")

        return handle_or_explain


def _explained(request: Request, error: Exception) -> Response:
    kind = next((trouble for cls, trouble in _KINDS.items() if isinstance(error, cls)), _OURS)
    why = str(error) if isinstance(error, NotFound | NotAllowed | NotUnderstood) else ""
    return _page(request, kind, why)


def _page(request: Request, trouble: Trouble, why: str) -> Response:
    desk: Desk = request.app.state.desk
    sentence = f"{why[:1].upper()}{why[1:]}." if why else ""
    response = page(desk, "trouble.html", trouble.status, trouble=trouble, why=sentence)
    if trouble.status == _KINDS[PassingError].status:
        response.headers["Retry-After"] = "60"
    return response
