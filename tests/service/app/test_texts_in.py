"""The whole service, running: a gateway calls it, and it fetches from a gateway that cannot."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import httpx
from pydantic import SecretStr

from service.app.running import running
from service.settings import Settings, TextInboundSettings, TextPollingSettings
from tests.support.calling_gateway import SECRET
from tests.support.databases import sqlite_url
from tests.support.text_gateway import Answer, pretend_gateway
from tests.support.waiting import until
from tests.support.written import written

BODY = json.dumps({"from": "+12025550199", "text": "7 going", "id": "m-1"}).encode()
FAR = 4_000_000_000_000
"""A time that lies ahead whenever this runs."""


async def test_the_gateway_reaches_the_running_service(tmp_path: Path) -> None:
    hook = TextInboundSettings(secret=SecretStr(SECRET), proof="shared secret", header="X-Secret")
    settings = Settings(
        database_url=sqlite_url(tmp_path), text_inbound=hook, public_url="https://farm.example/houses"
    )
    async with running(settings) as web:
        transport = httpx.ASGITransport(web)
        async with httpx.AsyncClient(transport=transport, base_url="https://farm.example") as client:
            calls = [
                await client.post("/api/inbound/texts", content=BODY, headers={"X-Secret": said})
                for said in (SECRET, "wrong")
            ]
            nowhere = await client.get(f"/a/{'A' * 24}")
        rows = await written(web.state.desk.database, "inbound")
    assert [call.status_code for call in calls] == [200, 401]
    assert nowhere.status_code == 404
    assert [(row["inbound_id"], row["result"]) for row in rows] == [("m-1", "nobody's number")]


async def test_the_running_service_fetches_from_the_gateway(tmp_path: Path) -> None:
    with pretend_gateway() as gateway:
        listed = [{"from": "+12025550199", "text": "7 going", "id": "m-1", "at": FAR}]
        gateway.answer = Answer(body=json.dumps(listed).encode())
        polled = TextPollingSettings(
            url=f"{gateway.url}/received", time="/at", time_form="milliseconds", every_s=1
        )
        async with running(Settings(database_url=sqlite_url(tmp_path), text_polling=polled)) as web:
            database = web.state.desk.database

            async def came() -> bool:
                rows: list[dict[str, Any]] = await written(database, "inbound")
                return [row["result"] for row in rows] == ["nobody's number"]

            await until(came, within_s=20, every_s=0.1, what="a text that was fetched")
