"""A pretend phone: an HTTP text gateway that keeps what it is sent and shows it on a page.

A text that comes again under the same key is the same text: it is counted, not shown twice.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass, replace
from html import escape
from typing import Annotated, Any, Final

from fastapi import FastAPI, Header
from fastapi.responses import HTMLResponse
from pydantic import BaseModel, Field

from simulator import farm
from simulator.clock import FarmClock
from simulator.moments import farm_time, real_time

MOST_TEXTS: Final = 500
"""Older ones fall off: it is a phone."""


class Incoming(BaseModel):
    """What a text gateway takes."""

    to: str = Field(min_length=1, max_length=40)
    text: str = Field(min_length=1, max_length=2000)


@dataclass(frozen=True, slots=True, kw_only=True)
class Received:
    """One text as it came."""

    number: int
    to: str
    text: str
    key: str | None
    wall_ms: int
    farm_ms: int
    repeats: int = 0


class Inbox:
    """Texts in the order they came; safe to use from several threads."""

    def __init__(self, clock: FarmClock) -> None:
        self._clock = clock
        self._lock = threading.Lock()
        self._texts: list[Received] = []
        self._last_number = 0

    def take(self, incoming: Incoming, key: str | None) -> tuple[Received, bool]:
        """Keep a text; True when it was a repeat of one already here."""
        with self._lock:
            for index, known in enumerate(self._texts):
                if key is not None and known.key == key:
                    self._texts[index] = replace(known, repeats=known.repeats + 1)
                    return self._texts[index], True
            received = self._received(incoming, key)
            self._texts = [*self._texts, received][-MOST_TEXTS:]
            return received, False

    def texts(self) -> list[Received]:
        return list(self._texts)

    def _received(self, incoming: Incoming, key: str | None) -> Received:
        self._last_number += 1
        wall_ms = self._clock.read_wall_ms()
        return Received(
            number=self._last_number,
            to=incoming.to,
            text=incoming.text,
            key=key,
            wall_ms=wall_ms,
            farm_ms=self._clock.farm_at_ms(wall_ms),
        )


def phone_app(inbox: Inbox) -> FastAPI:
    """``POST /send``, ``GET /texts`` and the page at ``/``."""
    app = FastAPI(title=f"Pretend phone ({farm.INVENTED})")

    @app.post("/send")
    def send(incoming: Incoming, idempotency_key: Annotated[str | None, Header()] = None) -> dict[str, Any]:
        received, repeat = inbox.take(incoming, idempotency_key)
        return {"number": received.number, "repeat": repeat}

    @app.get("/texts")
    def texts() -> list[dict[str, Any]]:
        return [_as_json(received) for received in inbox.texts()]

    @app.get("/", response_class=HTMLResponse)
    def page() -> str:
        return _page(inbox.texts())

    return app


def _as_json(received: Received) -> dict[str, Any]:
    return {
        "number": received.number,
        "to": received.to,
        "text": received.text,
        "key": received.key,
        "repeats": received.repeats,
        "wall_ms": received.wall_ms,
        "farm_ms": received.farm_ms,
    }


_STYLE: Final = """
body{margin:0 auto;max-width:26rem;padding:1rem;font:1.05rem/1.45 Georgia,serif;background:#f4f1ea;color:#222}
h1{font-size:1.1rem;margin:0}header{border-bottom:3px double #777;padding-bottom:.6rem}
header p,dl{font-size:.85rem;color:#555;margin:.2rem 0 0}ol{list-style:none;margin:0;padding:0}
li{border-bottom:1px solid #bbb;padding:.8rem 0}li p{margin:0 0 .4rem;white-space:pre-wrap}
dl{display:grid;grid-template-columns:7rem 1fr;gap:0 .5rem}dt,dd{margin:0}
"""


def _page(texts: list[Received]) -> str:
    lines = "".join(_line(received) for received in reversed(texts)) or "<li><p>No texts yet.</p></li>"
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width,initial-scale=1">'
        f'<meta http-equiv="refresh" content="2"><title>Texts received</title><style>{_STYLE}</style></head>'
        f"<body><header><h1>Texts received</h1><p>A pretend phone at {escape(farm.FARM_NAME)}, "
        f"{escape(farm.PLACE)}. {farm.INVENTED.capitalize()}: no real phone got these.</p></header>"
        f"<ol>{lines}</ol></body></html>"
    )


def _line(received: Received) -> str:
    again = f"<dt>sent again</dt><dd>{received.repeats} more, shown once</dd>" if received.repeats else ""
    return (
        f"<li><p>{escape(received.text)}</p><dl><dt>to</dt><dd>{escape(received.to)}</dd>"
        f"<dt>farm clock</dt><dd>{farm_time(received.farm_ms)}</dd>"
        f"<dt>real time</dt><dd>{real_time(received.wall_ms)} UTC</dd>"
        f"<dt>length</dt><dd>{len(received.text)} characters</dd>{again}</dl></li>"
    )
