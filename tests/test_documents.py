"""README.md and DEVELOPERS.md say what is so: names, examples and pictures are tried out.

They are the project's own pages, so there is no outside source to check them against; SenML and TOML examples go
through the readers that a farm's own files and messages go through.
"""

from __future__ import annotations

import json
import re
import shlex
import tomllib
from collections.abc import Iterator
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import httpx
import pytest
from pydantic import BaseModel
from pydantic_core import PydanticUndefined

from service.__main__ import app
from service.app.running import running
from service.app.ways import mail_server, text_gateway
from service.messages import Incoming
from service.notifications.carriers.message import Message
from service.notifications.carriers.outcome import Accepted
from service.notifications.carriers.text import TextCarrier
from service.settings import DEFAULT_CONFIG, Settings, load_settings
from service.watch.own_profiles import copy_of_shipped
from service.wire.decode import decode
from service.wire.sources import parse_sources
from tests.house_measures import ROOT, house_files
from tests.support.databases import sqlite_url
from tests.support.text_gateway import pretend_gateway

README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
BOTH = {"README.md": README, "DEVELOPERS.md": DEVELOPERS}
VERBS = {verb.name or verb.callback.__name__ for verb in app.registered_commands if verb.callback}
VERBS |= {group.name for group in app.registered_groups if group.name}
PARTS = {
    f"{group.name} {part.name or part.callback.__name__}"
    for group in app.registered_groups
    if group.typer_instance
    for part in group.typer_instance.registered_commands
    if part.callback
}
LARGEST_PICTURE_BYTES = 200_000
NOW_MS = 1_795_604_000_000
"""A little after the moment in the example pack."""

pure = pytest.mark.pure
on_both = pytest.mark.parametrize("page", BOTH)


def fenced(page: str, kind: str) -> list[str]:
    """The fenced examples of one kind, without the indentation of the list they stand in."""
    found = re.findall(rf"^( *)```{kind}\n(.*?)^ *```$", page, re.MULTILINE | re.DOTALL)
    return [
        "".join(line.removeprefix(indent) for line in body.splitlines(keepends=True)) for indent, body in found
    ]


def code(page: str) -> str:
    """Everything on the page that is set as code."""
    fences = re.findall(r"```\w*\n(.*?)```", page, re.DOTALL)
    return "\n".join([*fences, *re.findall(r"(?<!`)`([^`\n]+)`(?!`)", page)])


def toml_of(file: str) -> list[str]:
    """The examples that say in their first line which file they belong to."""
    return [body for body in fenced(README, "toml") if body.startswith(f"# {file}")]


@pytest.fixture
def farm_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder as a farm would have it, with the examples as its settings."""
    (tmp_path / DEFAULT_CONFIG).write_text("".join(toml_of(DEFAULT_CONFIG)))
    monkeypatch.chdir(tmp_path)
    return tmp_path


# --- the first paragraph ------------------------------------------------------------------------------------


@pure
def test_the_readme_opens_with_one_paragraph_of_prose() -> None:
    title, paragraph, after = README.split("\n\n", 2)

    assert title == "# Houseband"
    assert re.match(r"[A-Z]\w+ ", paragraph)
    assert paragraph.endswith(".")
    assert not re.search(r"^\s*([#>|`!<-]|\d+\.|\*)", paragraph, re.MULTILINE)
    assert after.startswith("## ")


# --- names --------------------------------------------------------------------------------------------------


@pure
@on_both
def test_every_verb_in_the_documents_is_there(page: str) -> None:
    said = set(re.findall(r"(?:^|[/\s])houseband ([a-z][a-z-]*)", code(BOTH[page]), re.MULTILINE))

    assert said <= VERBS


@pure
@pytest.mark.parametrize("verb", sorted(VERBS | PARTS))
def test_the_readme_says_every_verb(verb: str) -> None:
    assert f"houseband {verb}" in code(README)


@pure
@on_both
def test_every_make_target_in_the_documents_is_there(page: str) -> None:
    phony = re.search(r"^\.PHONY: (.*)$", (ROOT / "Makefile").read_text(), re.MULTILINE)
    said = set(re.findall(r"(?:^|\s)make ([a-z]+)", code(BOTH[page]), re.MULTILINE))

    assert phony
    assert said
    assert said <= set(phony[1].split())


@pure
@on_both
def test_every_module_that_is_said_to_run_is_there(page: str) -> None:
    modules = set(re.findall(r"python -m ([\w.]+)", code(BOTH[page])))

    assert {name for name in modules if find_spec(name) is None} == set()


@pure
@on_both
def test_every_file_that_is_named_is_there(page: str) -> None:
    named = re.findall(r"`((?:rules|service|simulator|migrations|tests)/[\w./-]*)`", BOTH[page])

    assert {name for name in named if not (ROOT / name).exists()} == set()


@pure
@on_both
def test_links_and_pictures_lead_to_files_of_the_project(page: str) -> None:
    tracked = {str(path) for path in house_files()}
    links = re.findall(r"\]\(([^)]+)\)", BOTH[page]) + re.findall(r'src="([^"]+)"', BOTH[page])
    ours = {link for link in links if not link.startswith("https://")}

    assert ours <= tracked


@pure
def test_every_picture_is_shown_and_small() -> None:
    pictures = [path for path in house_files() if path.parts[0] == ".screenshots"]

    assert pictures
    assert [str(path) for path in pictures if str(path) not in README] == []
    assert [str(p) for p in pictures if (ROOT / p).stat().st_size > LARGEST_PICTURE_BYTES] == []


@pure
def test_the_reason_for_every_dependency_is_said() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    asked = [
        *project["dependencies"],
        *(name for extra in project["optional-dependencies"].values() for name in extra),
    ]
    table = DEVELOPERS.partition("| package | why |\n")[2].partition("\n\n")[0]
    named = [name for row in table.splitlines()[1:] for name in re.findall(r"`([^`]+)`", row.split("|")[1])]

    assert sorted(named) == sorted({re.split(r"[^\w-]", name)[0] for name in asked})


# --- settings -----------------------------------------------------------------------------------------------


@pure
def test_every_setting_is_in_the_table_with_its_default() -> None:
    assert dict(_rows_of_settings()) == dict(_settings(Settings))


@pure
def test_the_settings_examples_load(farm_folder: Path) -> None:
    settings = load_settings()

    assert settings.farm == "alder-creek"
    assert settings.broker_host
    assert settings.sources_file == Path("sources.toml")
    assert settings.text_gateway
    assert text_gateway(settings.text_gateway).fields["message"] == "{text}"
    assert settings.mail
    assert mail_server(settings.mail).security == "starttls"


@pure
def test_the_settings_for_containers_load(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    examples = [body for body in fenced(README, "sh") if body.startswith("HOUSEBAND_")]
    for name, value in (line.split("=", 1) for body in examples for line in body.splitlines()):
        monkeypatch.setenv(name, shlex.split(value)[0])

    settings = load_settings()

    assert settings.text_gateway
    assert text_gateway(settings.text_gateway).fields["recipient"] == "{to}"


async def test_the_gateway_example_sends_a_text(farm_folder: Path) -> None:
    settings = load_settings()
    assert settings.text_gateway
    with pretend_gateway() as phone:
        gateway = text_gateway(settings.text_gateway.model_copy(update={"url": f"{phone.url}/messages"}))
        async with httpx.AsyncClient() as client:
            said = Message(to="+12025550123", text="House 7: humidity 78%", key="k-1", at_ms=NOW_MS)
            outcome = await TextCarrier(gateway, client).carry(said)

    assert isinstance(outcome, Accepted)
    assert json.loads(phone.asked[0].body) == {
        "recipient": "+12025550123",
        "message": "House 7: humidity 78%",
        "reference": "k-1",
    }
    assert phone.asked[0].headers["Authorization"] == "Bearer 0000"


# --- the wire -----------------------------------------------------------------------------------------------


@pure
def test_the_example_pack_is_understood() -> None:
    topic = next(found for found in re.findall(r"`(houseband/[\w/-]+)` takes a \[SenML\]", README))
    payload = fenced(README, "json")[0].encode()

    decoded = decode(
        Incoming(topic=topic, payload=payload, received_ms=NOW_MS), prefix="houseband", farm="alder-creek"
    )

    assert decoded.rejected == ()
    assert decoded.oddities == ()
    assert [(u.reading.probe, u.reading.quantity, u.timed) for u in decoded.understood] == [
        ("h7-door", "temperature", True),
        ("h7-door", "humidity", True),
    ]


@pure
def test_the_sources_example_reads_its_devices() -> None:
    sources = parse_sources(toml_of("sources.toml")[0], file="sources.toml")
    messages = {
        "north/n-12/state": b'{"ts": 1795603900000, "air": {"temp": 57.6, "rh": 91.5}, "open": false}',
        "meters/4/co2": b"812",
    }

    values = {
        (u.reading.probe, u.reading.quantity.value, round(u.reading.value, 1))
        for topic, payload in messages.items()
        for u in decode(
            Incoming(topic=topic, payload=payload, received_ms=NOW_MS),
            prefix="houseband",
            farm="alder-creek",
            sources=sources,
        ).understood
    }

    # 57.6 degrees Fahrenheit are 14.2 degrees Celsius: (57.6 - 32) / 1.8.
    assert values == {
        ("n-12", "temperature", 14.2),
        ("n-12", "humidity", 91.5),
        ("n-12", "door", 0.0),
        ("h4-co2", "co2", 812.0),
    }


# --- the first set-up ---------------------------------------------------------------------------------------


async def test_the_first_set_up_works_as_written(tmp_path: Path) -> None:
    requests = list(_requests())
    settings = Settings(farm="alder-creek", database_url=sqlite_url(tmp_path))
    async with running(settings) as web:
        transport = httpx.ASGITransport(web)
        async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1:8000/api") as client:
            own = copy_of_shipped("shiitake", "shiitake_brown", strain="brown cap").encode()
            added = await client.post(
                "/profiles?who=Maria", content=own, headers={"content-type": "application/toml"}
            )
            assert added.is_success, added.text
            for method, path, body in requests:
                answer = await client.request(method, path, json=body)
                assert answer.is_success, f"{method} {path}: {answer.text}"
            rooms = [(await client.get(f"/rooms/{room}")).json() for room in ("house-7", "cooler")]

    assert len(requests) > 10
    assert [room["probes"][0]["probe_id"] for room in rooms] == ["h7-door", "cooler-back"]
    crops = [crop for room in rooms for crop in room["crops"]]
    assert [(crop["profile"], crop["wakes"]) for crop in crops] == [
        ("shiitake_brown", True),
        ("cold_storage", True),
    ]


def _requests() -> Iterator[tuple[str, str, Any]]:
    """Every ``send METHOD PATH BODY`` of the examples, in order."""
    for example in fenced(README, "sh"):
        words = shlex.split(example, comments=True)
        for index, word in enumerate(words):
            if word == "send":
                method, path, body = words[index + 1 : index + 4]
                yield method, path, json.loads(body)


def _rows_of_settings() -> Iterator[tuple[str, str]]:
    """Name and default of every setting, as the table says them; a row may hold several."""
    table = README.partition("| setting | if absent |")[2].partition("\n\n")[0]
    for row in table.splitlines()[2:]:
        _, name, default, *_ = (cell.strip() for cell in row.split("|"))
        names, defaults = re.findall(r"`([^`]+)`", name), default.replace("`", "").split(", ")
        yield from zip(names, defaults if len(defaults) == len(names) else defaults * len(names), strict=True)


def _settings(model: type[BaseModel], within: str = "") -> Iterator[tuple[str, str]]:
    """The same from the settings themselves."""
    for name, field in model.model_fields.items():
        inner = next((t for t in getattr(field.annotation, "__args__", ()) if _is_table(t)), None)
        if inner is not None:
            yield from _settings(inner, f"{within}{name}.")
        else:
            yield within + name, _default(field.get_default(call_default_factory=True))


def _is_table(kind: object) -> bool:
    return isinstance(kind, type) and issubclass(kind, BaseModel)


def _default(value: object) -> str:
    match value:
        case _ if value is PydanticUndefined:
            return ""
        case None | [] | {}:
            return "none"
        case bool():
            return str(value).lower()
        case float():
            return f"{value:g}"
        case _:
            return str(value)
