"""Nothing is changed on behalf of another site's page.

A browser says where a request comes from (``Sec-Fetch-Site``, else ``Origin``). One that comes from elsewhere and
would change something is refused, whatever it asks for. Programs that are not browsers say neither, and pass.

An answering link proves itself: a page that knows it needs no browser of ours. And as its page gives no referrer,
some browsers send an answer from there as from nowhere ("Origin: null").
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final
from urllib.parse import urlsplit

from starlette.datastructures import Headers
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Receive, Scope, Send

_ONLY_LOOKS: Final = frozenset({"GET", "HEAD", "OPTIONS"})
_OUR_OWN: Final = frozenset({"same-origin", "none"})
PROVES_ITSELF: Final = "/a/"
REFUSED: Final = "This came from another site's page and was refused. Nothing was changed.\n"


class SameSite:
    """Refuses what another site's page would change."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if (
            scope["type"] == "http"
            and not scope["path"].startswith(PROVES_ITSELF)
            and comes_from_elsewhere(scope["method"], Headers(scope=scope))
        ):
            await PlainTextResponse(REFUSED, status_code=403)(scope, receive, send)
            return
        await self._app(scope, receive, send)


def comes_from_elsewhere(method: str, headers: Mapping[str, str]) -> bool:
    """True for a request that would change something and that another site's page makes."""
    if method in _ONLY_LOOKS:
        return False
    site = headers.get("sec-fetch-site")
    if site is not None:
        return site not in _OUR_OWN
    origin = headers.get("origin")
    return origin is not None and urlsplit(origin).netloc != headers.get("host")
