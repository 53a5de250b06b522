"""What is shipped for containers, as far as it can be checked without a container engine."""

from __future__ import annotations

import json
import re
from importlib.resources import files
from typing import Any

import jsonschema
import pytest
import yaml

from service.settings import Settings, load_settings
from tests.house_measures import ROOT

pytestmark = pytest.mark.pure

# The compose specification's own schema (github.com/compose-spec/compose-spec, schema/compose-spec.json), in the
# copy that the check-jsonschema package carries.
SCHEMA = files("check_jsonschema") / "builtin_schemas" / "vendor" / "compose-spec.json"


@pytest.fixture(scope="module")
def compose() -> dict[str, Any]:
    loaded: dict[str, Any] = yaml.safe_load((ROOT / "docker-compose.yml").read_text())
    return loaded


@pytest.fixture(scope="module")
def schema() -> dict[str, Any]:
    loaded: dict[str, Any] = json.loads(SCHEMA.read_text())
    return loaded


def _service(compose: dict[str, Any], name: str) -> dict[str, Any]:
    service: dict[str, Any] = compose["services"][name]
    return service


SERVICES = ("broker", "database", "service")


def test_the_compose_file_keeps_to_the_published_schema(compose: dict[str, Any], schema: dict[str, Any]) -> None:
    jsonschema.validate(compose, schema)


def test_the_schema_would_notice_a_misspelt_key(compose: dict[str, Any], schema: dict[str, Any]) -> None:
    misspelt = compose | {"services": {"broker": {"image": "x", "helthcheck": {}}}}

    with pytest.raises(jsonschema.ValidationError, match="helthcheck"):
        jsonschema.validate(misspelt, schema)


def test_the_compose_file_has_the_three_services(compose: dict[str, Any]) -> None:
    assert set(compose["services"]) == set(SERVICES)


@pytest.mark.parametrize("name", SERVICES)
def test_every_service_says_how_it_is_and_keeps_its_data(compose: dict[str, Any], name: str) -> None:
    service = _service(compose, name)
    named = {volume.split(":")[0] for volume in service["volumes"]} & set(compose["volumes"])

    assert named or name == "service"
    assert service["restart"] == "unless-stopped"
    assert "healthcheck" in service or "HEALTHCHECK" in (ROOT / "Dockerfile").read_text()


@pytest.mark.parametrize("name", SERVICES)
def test_no_service_runs_as_root_or_can_become_it(compose: dict[str, Any], name: str) -> None:
    service = _service(compose, name)

    assert service.get("user", "").split(":")[0] not in {"0", "root"}
    assert "user" in service or re.search(r"^USER (?!root)", (ROOT / "Dockerfile").read_text(), re.MULTILINE)
    assert service["read_only"] is True
    assert service["cap_drop"] == ["ALL"]
    assert service["security_opt"] == ["no-new-privileges:true"]


@pytest.mark.parametrize("name", SERVICES)
def test_every_image_is_pinned_to_a_release(compose: dict[str, Any], name: str) -> None:
    assert re.search(r":\d+\.\d+", _service(compose, name)["image"])


def test_the_base_of_our_own_image_is_pinned() -> None:
    bases = re.findall(r"^FROM (\S+)", (ROOT / "Dockerfile").read_text(), re.MULTILINE)

    assert bases
    assert [base for base in bases if not re.search(r":\d+\.\d+", base)] == []


def test_pages_and_database_are_not_offered_to_the_network(compose: dict[str, Any]) -> None:
    """Until there is a sign-in, pages belong to this machine only."""
    assert [port.split(":")[0] for port in _service(compose, "service")["ports"]] == ["127.0.0.1"]
    assert "ports" not in _service(compose, "database")


def test_no_password_stands_in_the_compose_file(compose: dict[str, Any]) -> None:
    """Every secret comes from the .env file, and starting without it is refused (``:?``)."""
    secrets = [
        value
        for service in compose["services"].values()
        for name, value in service["environment"].items()
        if name.endswith(("PASSWORD", "DATABASE_URL"))
    ]

    assert len(secrets) == 5
    assert [value for value in secrets if not re.search(r"\$\{\w+_PASSWORD:\?", value)] == []


def test_the_image_and_the_compose_file_set_only_settings_that_exist(
    compose: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    environment = _service(compose, "service")["environment"]
    image = re.findall(r"(HOUSEBAND_\w+)=", (ROOT / "Dockerfile").read_text())
    known = {f"HOUSEBAND_{name.upper()}" for name in Settings.model_fields}

    assert {*environment, *image} <= known
    for name, value in environment.items():
        monkeypatch.setenv(name, re.sub(r"\$\{\w+:\?[^}]*\}", "filled-in", value))
    assert load_settings().listen_host == "0.0.0.0"


def test_the_health_check_asks_where_the_service_listens(compose: dict[str, Any]) -> None:
    port = Settings.model_fields["listen_port"].default

    assert f"http://127.0.0.1:{port}/api/state" in (ROOT / "Dockerfile").read_text()
    assert _service(compose, "service")["ports"] == [f"127.0.0.1:{port}:{port}"]


def test_mounted_files_exist(compose: dict[str, Any]) -> None:
    mounted = [
        volume.split(":")[0]
        for service in compose["services"].values()
        for volume in service["volumes"]
        if volume.startswith("./")
    ]

    assert mounted
    assert [path for path in mounted if not (ROOT / path).exists()] == []


def test_what_the_image_is_built_from_exists() -> None:
    copied = re.findall(r"^COPY (?!--from)(.+) \S+$", (ROOT / "Dockerfile").read_text(), re.MULTILINE)
    allowed = {line[1:] for line in (ROOT / ".dockerignore").read_text().splitlines() if line.startswith("!")}
    names = {name for line in copied for name in line.split()}

    assert names == allowed
    assert {name for name in names if not (ROOT / name).exists()} == set()
