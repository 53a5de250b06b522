"""The two addresses that a text gateway calls: with texts that people sent, and with what became of ours.

Without a proof set up, neither is there. What is not proven is told nothing; what is proven and cannot be used is
kept and shown. The answer has no body: some gateways would send one on, as a text.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field
from http import HTTPStatus
from typing import Any, Final, TypeAlias

from fastapi import APIRouter, Request, Response
from starlette.exceptions import HTTPException

from rules.model import SECOND_MS, Instant
from service.api.access import AtDesk
from service.api.inbound_proof import Proof
from service.api.problems import declared
from service.storage import machine, readings
from service.watch.desk import Desk
from service.watch.texts_in import TakenIn, take_receipts, take_texts
from service.wire.text_hook import Places

MOST_BYTES: Final = 65_536
"""Hundreds of texts. A stranger's megabyte would only be read to be thrown away."""
PULSE: Final = "text hook"
_COUNT_EVERY_MS: Final = 10 * SECOND_MS

router = APIRouter(prefix="/inbound", tags=["inbound"])

_Take: TypeAlias = Callable[[Desk, bytes, Places], Awaitable[TakenIn]]
_ANY_BODY: Final[dict[str, Any]] = {
    "requestBody": {
        "required": True,
        "content": {
            "application/json": {"schema": {"description": "As the settings say."}},
            "application/x-www-form-urlencoded": {"schema": {"type": "object"}},
        },
    }
}
_RESPONSES: Final[dict[int | str, dict[str, Any]]] = {
    200: {"description": "Taken, now or before. There is no body."},
    **declared(401, 404, 413, 422),
}


@dataclass(slots=True, kw_only=True)
class TextHook:
    """How the gateway's calls are proven and read, and how many were turned away."""

    proof: Proof
    places: Places
    refused: Counter[str] = field(default_factory=Counter)
    """Not yet written down."""
    refused_in_all: int = 0
    counted_ms: Instant | None = None

    async def refuse(self, desk: Desk, why: str) -> None:
        """Count a call that was turned away; written down now and then, as strangers may not keep us writing."""
        self.refused[f"inbound refused: {why}"] += 1
        self.refused_in_all += 1
        now_ms = desk.clock.now_ms()
        if self.counted_ms is not None and 0 <= now_ms - self.counted_ms < _COUNT_EVERY_MS:
            return
        self.counted_ms = now_ms
        counts, self.refused = dict(self.refused), Counter()
        async with desk.database.write() as connection:
            await readings.tally(connection, desk.farm_id, counts)
            said = f"turned away {self.refused_in_all} since the start, the last: {why}"
            await machine.beat(connection, desk.farm_id, PULSE, now_ms, said)


@router.post(
    "/texts",
    summary="Texts that people sent, from the text gateway",
    description=(
        "Proven by a signature or a shared secret, as set up; without one, this address does not exist. A text "
        "that came before is not taken again."
    ),
    response_class=Response,
    responses=_RESPONSES,
    openapi_extra=_ANY_BODY,
)
async def post_texts(desk: AtDesk, request: Request) -> Response:
    return await _take(desk, request, take_texts)


@router.post(
    "/receipts",
    summary="What became of texts of ours, from the text gateway",
    description="Proven in the same way. A receipt of a text that we do not know is counted, and nothing more.",
    response_class=Response,
    responses=_RESPONSES,
    openapi_extra=_ANY_BODY,
)
async def post_receipts(desk: AtDesk, request: Request) -> Response:
    return await _take(desk, request, take_receipts)


async def _take(desk: Desk, request: Request, take: _Take) -> Response:
    hook: TextHook | None = getattr(request.app.state.house.state, "text_hook", None)
    if hook is None:
        raise HTTPException(HTTPStatus.NOT_FOUND)
    body = await _body(desk, hook, request)
    why = hook.proof.why_not(request.headers, body, desk.clock.now_ms())
    if why is not None:
        await hook.refuse(desk, why)
        raise HTTPException(HTTPStatus.UNAUTHORIZED, headers={"WWW-Authenticate": hook.proof.asks_for})
    came = await take(desk, body, hook.places)
    async with desk.database.write() as connection:
        said = f"took {came.taken}" + (f", could not use {len(came.rejected)}" if came.rejected else "")
        await machine.beat(connection, desk.farm_id, PULSE, desk.clock.now_ms(), said)
    if came.rejected and not came.taken:
        raise HTTPException(HTTPStatus.UNPROCESSABLE_ENTITY, came.rejected[0].reason.value)
    return Response(status_code=HTTPStatus.OK)


async def _body(desk: Desk, hook: TextHook, request: Request) -> bytes:
    body = b""
    async for part in request.stream():
        body += part
        if len(body) > MOST_BYTES:
            await hook.refuse(desk, "too large")
            raise HTTPException(HTTPStatus.REQUEST_ENTITY_TOO_LARGE)
    return body
