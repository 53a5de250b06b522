"""Who uses this browser: remembered after the first answer, so that a name need not be chosen again."""

from __future__ import annotations

from typing import Final

from starlette.responses import Response

COOKIE: Final = "houseband_person"
_YEAR_S: Final = 365 * 24 * 3600


def remember(response: Response, person_id: str) -> Response:
    """Let the browser keep who it was."""
    response.set_cookie(COOKIE, person_id, max_age=_YEAR_S, httponly=True, samesite="lax")
    return response
