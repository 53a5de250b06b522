"""Every error is a problem (RFC 9457): in words, and with nothing of our insides."""

from __future__ import annotations

import sqlite3
from collections.abc import AsyncIterator
from contextlib import closing
from pathlib import Path

import pytest

from service.storage.database import Database
from tests.support import farmyard
from tests.support.api import Api, open_api, problem_in
from tests.support.clock import HandClock
from tests.support.databases import sqlite_database


@pytest.mark.parametrize("path", ["/api/", "/api/nothing", "/api/rooms/", "/api/rooms/house-7/nothing"])
async def test_an_address_that_does_not_exist_is_a_problem(one_api: Api, path: str) -> None:
    assert "nothing at this address" in (await one_api.refused(path, expect=404))["detail"]


async def test_a_method_that_is_not_taken_is_a_problem_that_names_those_that_are(one_api: Api) -> None:
    answer = await one_api.client.delete("/api/farm")
    assert answer.status_code == 405
    assert problem_in(answer)["title"] == "Method Not Allowed"
    assert "GET" in answer.headers["allow"]


@pytest.mark.parametrize(
    ("body", "content_type"),
    [
        (b"", "application/json"),
        (b"{", "application/json"),
        (b"\xff", "application/json"),
        (b"[" * 100_000, "application/json"),
        (b'{"who": ' + b"9" * 5000 + b"}", "application/json"),
        (b'{"who": "\\ud800"}', "application/json"),
        (b'{"\\ud800": 1}', "application/json"),
        (b'{"who": NaN}', "application/json"),
        (b"who=me", "application/x-www-form-urlencoded"),
        (b"{}", "text/plain"),
    ],
)
async def test_a_body_that_cannot_be_read_is_a_problem(one_api: Api, body: bytes, content_type: str) -> None:
    answer = await one_api.client.put("/api/farm", content=body, headers={"content-type": content_type})
    assert answer.status_code in {400, 422}
    problem_in(answer)


async def test_a_problem_does_not_repeat_what_was_sent(one_api: Api) -> None:
    answer = await one_api.client.put("/api/people/ida", json={"name": ["hunter2"], "phone": "hunter2"})
    assert answer.status_code == 422
    assert "hunter2" not in answer.text


async def test_thousands_of_mistakes_make_a_short_answer(one_api: Api) -> None:
    answer = await one_api.client.put("/api/farm", json={f"x{n}": n for n in range(5000)})
    assert answer.status_code == 422
    assert len(answer.content) < 5000


async def test_a_database_that_is_locked_is_a_503_that_says_when_to_try_again(tmp_path: Path) -> None:
    async with sqlite_database(tmp_path) as database:
        farm = await farmyard.settle(database)
        async with open_api(database, farm, HandClock(farmyard.NOW_MS)) as api:
            with closing(sqlite3.connect(tmp_path / "houseband.db", isolation_level=None)) as other:
                other.execute("BEGIN IMMEDIATE")
                answer = await api.client.post("/api/rooms/house-7/first-days", json={"end": None, "who": "Ines"})
    assert answer.status_code == 503
    assert int(answer.headers["retry-after"]) > 0
    assert "Nothing was written" in problem_in(answer)["detail"]


@pytest.fixture
async def broken(tmp_path: Path) -> AsyncIterator[Api]:
    """An API whose database has no tables: an error that nobody expects."""
    empty = Database(f"sqlite+aiosqlite:///{tmp_path / 'empty.db'}")
    async with open_api(empty, {"farm_id": 1}, HandClock(farmyard.NOW_MS)) as api:
        yield api
    await empty.close()


async def test_an_unexpected_error_says_nothing_of_our_insides(broken: Api) -> None:
    said = await broken.refused("/api/rooms", expect=500)
    assert "Traceback" not in str(said)
    assert "table" not in str(said)
    assert "sql" not in str(said).lower()
