"""``houseband replay`` at a terminal, over the dry night of the invented farm."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import pytest

from rules.model import MINUTE_MS
from service.__main__ import main
from service.app.replaying import Asked, moment, replay_lines
from service.errors import NotFound, NotUnderstood
from service.localtime import at_local
from service.storage import crops
from service.storage.database import Database
from tests.support.clock import HandClock
from tests.support.databases import sqlite_url
from tests.support.farmyard import NOW_MS, TODAY, ZONE, tell
from tests.support.telling import set_call_list

NIGHT = {"room": "house-7", "begin": "2026-11-24", "end": "2026-11-26"}


async def lines(database: Database, **asked: Any) -> list[str]:
    return await replay_lines(database, "tansy", Asked(**asked), now_ms=NOW_MS)


async def test_nothing_changed_is_what_was_said_and_to_whom(dry_night: Database, farm: dict[str, Any]) -> None:
    await set_call_list(dry_night, ("maria", 0), ("ben", 0))
    await tell(dry_night, farm, HandClock(NOW_MS))
    found = await lines(dry_night, **NIGHT)

    assert found[:2] == ["invented data", "House 7: 1 text; all as it was said."]
    assert found[2].startswith("  Wed 25 Nov 02:2")
    assert found[2].endswith("text   House 7: humidity low, 78%, limit 85% (as it was said)")
    assert found[3].startswith("      told: ")


async def test_another_limit_tells_whom_the_call_list_of_that_part_of_the_day_names(
    dry_night: Database,
) -> None:
    await set_call_list(dry_night, ("maria", 0), ("ben", 5), ("old-hand", 9))
    found = await lines(dry_night, **NIGHT, limits=["humidity-low=98.5"])

    assert "      by the call list of today: Maria, Ben" in found
    assert any("(was not said)" in line for line in found)
    assert any("(would not have been said)" in line for line in found)


async def test_all_rooms_are_gone_through_unless_one_is_named(dry_night: Database) -> None:
    found = await lines(dry_night)
    heads = [line.partition(":")[0] for line in found if not line.startswith(" ")]
    assert heads == ["invented data", "House 7", "House 3", "Cooler"]
    assert "Cooler: Nothing was said, and nothing would have been." in found


async def test_a_profile_file_stands_in(dry_night: Database, tmp_path: Path) -> None:
    async with dry_night.read() as connection:
        body = (await crops.profile(connection, 1, "shiitake"))["body"]
    file = tmp_path / "mine.toml"
    file.write_text(body, encoding="utf-8")
    assert (await lines(dry_night, **NIGHT, profile_file=file))[1] == "House 7: 1 text; all as it was said."

    file.write_text("name = 3", encoding="utf-8")
    with pytest.raises(NotUnderstood, match=r"mine\.toml"):
        await lines(dry_night, **NIGHT, profile_file=file)


async def test_what_cannot_be_asked_is_said(dry_night: Database) -> None:
    with pytest.raises(NotFound, match="no farm"):
        await replay_lines(dry_night, "elsewhere", Asked(), now_ms=NOW_MS)
    with pytest.raises(NotFound, match="no room"):
        await lines(dry_night, room="house-99")
    with pytest.raises(NotUnderstood, match="ends before it begins"):
        await lines(dry_night, begin="2026-11-26", end="2026-11-24")
    with pytest.raises(NotUnderstood, match="1440 minutes"):
        await lines(dry_night, waits=["humidity-low=5000"])
    with pytest.raises(NotUnderstood, match="cannot be read"):
        await lines(dry_night, profile_file=Path("nowhere.toml"))


@pytest.mark.pure
def test_a_day_begins_at_the_farms_midnight_and_a_moment_has_its_offset() -> None:
    midnight = at_local(TODAY, 0, ZONE)
    assert moment("2026-11-25", ZONE, 0) == midnight
    assert moment("2026-11-25T00:01:00-05:00", ZONE, 0) == midnight + MINUTE_MS
    assert moment(None, ZONE, 7) == 7
    for text in ("yesterday", "2026-11-25T00:01:00", "25.11.2026"):
        with pytest.raises(NotUnderstood):
            moment(text, ZONE, 0)


@pytest.mark.pure
def test_the_verb_prints_lines_and_ends_with_two_on_what_it_cannot_read(
    dry_night_file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / dry_night_file.name).write_bytes(dry_night_file.read_bytes())
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("HOUSEBAND_DATABASE_URL", sqlite_url(tmp_path))
    monkeypatch.setenv("HOUSEBAND_FARM", "tansy")

    def run(*words: str) -> int:
        monkeypatch.setattr(sys, "argv", ["houseband", "replay", *words])
        with pytest.raises(SystemExit) as ended:
            main()
        return int(ended.value.code or 0)

    span = ("--from", "2026-11-24", "--to", "2026-11-26")
    assert run("--room", "house-7", *span, "--limit", "humidity-low=70") == 0
    assert "House 7: No text instead of 1." in capsys.readouterr().out
    assert run("--limit", "humidity<70") == 2
    assert "like humidity-low=80" in capsys.readouterr().err
