"""The morning mail of one person: subject, plain text and HTML say the same, in that person's units."""

from __future__ import annotations

from html.parser import HTMLParser
from typing import Any

from service.reports.mail import Mail
from service.reports.morning_mail import morning_mail
from service.reports.night import Books
from service.reports.round_sheet import round_sheet
from service.reports.span import last_ended_span
from service.reports.words import Words
from service.storage import rooms
from service.storage.database import Database
from service.watch.catalogue import Catalogue
from service.wording.units import Units
from tests.support import farmyard


class _Text(HTMLParser):
    """The words of an HTML page, without its head."""

    def __init__(self) -> None:
        super().__init__()
        self.words: list[str] = []

    def handle_data(self, data: str) -> None:
        self.words += data.split()


async def mail(database: Database, farm: dict[str, Any], units: Units = "us") -> Mail:
    async with database.read() as connection:
        books = Books(connection=connection, farm=farm, profiles=Catalogue(farm["farm_id"]))
        sheet = await round_sheet(books, last_ended_span(farm, farmyard.NOW_MS))
    return morning_mail(
        sheet, Words(farm=farm, units=units, now_ms=farmyard.NOW_MS), pages="https://farm.example.org/"
    )


async def test_the_subject_says_the_worst_and_that_it_is_invented(
    dry_night: Database, farm: dict[str, Any]
) -> None:
    written = await mail(dry_night, farm)

    assert written.subject == "Invented data: Round sheet Wed 25 Nov: House 7 well again; 2 quiet"
    assert written.text.startswith("Invented data.\n\nTansy Hollow Mushrooms, an invented hollow\n")


async def test_a_real_farm_is_not_called_invented(dry_night: Database, farm: dict[str, Any]) -> None:
    written = await mail(dry_night, {**farm, "invented": 0, "place": "the hill"})

    assert "nvented" not in written.subject + written.text + written.html


async def test_text_and_html_hold_the_same_words(dry_night: Database, farm: dict[str, Any]) -> None:
    written = await mail(dry_night, farm)
    parser = _Text()
    parser.feed(written.html.partition("<body")[2].partition(">")[2])

    plain = written.text.replace("- ", "").replace("(", "").replace(")", "").split()
    assert parser.words == plain


async def test_everyone_reads_their_own_units(dry_night: Database, farm: dict[str, Any]) -> None:
    assert "60 °F" in (await mail(dry_night, farm, "us")).text
    assert "15.5 °C" in (await mail(dry_night, farm, "metric")).text


async def test_a_name_cannot_become_markup(dry_night: Database, farm: dict[str, Any]) -> None:
    written = await mail(dry_night, {**farm, "name": "<b>Hill & Sons</b>"})

    assert "&lt;b&gt;Hill &amp; Sons&lt;/b&gt;" in written.html
    assert "<b>Hill & Sons</b>, an invented hollow" in written.text


async def test_a_farm_without_rooms_has_a_quiet_night(database: Database) -> None:
    farm = await farmyard.add_farm(database)

    written = await mail(database, farm)

    assert written.subject.endswith(": a quiet night")
    assert "A quiet night." in written.text


async def test_a_probe_that_was_never_heard_is_on_the_list(database: Database) -> None:
    farm = await farmyard.add_farm(database)
    await farmyard.add_rooms(database, farm["farm_id"], farmyard.NOW_MS)
    async with database.read() as connection:
        placed = await rooms.all_probes(connection, farm["farm_id"])

    assert (await mail(database, farm)).text.count("never heard.") == len(placed)
