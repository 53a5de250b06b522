"""The description of the API is complete, and holds to JSON Schema 2020-12, which OpenAPI 3.1 builds on."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.openapi.models import OpenAPI
from jsonschema import Draft202012Validator

from service.api.routes import add_api

pytestmark = pytest.mark.pure

CONTRACT = """
GET /api/state
GET /api/farm
PUT /api/farm
GET /api/farm/people-limits
PUT /api/farm/people-limits
GET /api/rooms
POST /api/rooms
GET /api/rooms/{room_id}
GET /api/rooms/{room_id}/night
GET /api/rooms/{room_id}/first-days
POST /api/rooms/{room_id}/first-days
GET /api/rooms/{room_id}/replay
POST /api/rooms/{room_id}/working
POST /api/rooms/{room_id}/leave
POST /api/working
POST /api/people/{person_id}/out
GET /api/holds
POST /api/holds/{hold_id}/end
POST /api/rooms/{room_id}/assign
GET /api/rooms/{room_id}/sharing
POST /api/rooms/{room_id}/answers
GET /api/probes
POST /api/probes/{probe_id}/placements
PUT /api/probes/{probe_id}/top
PUT /api/probes/{probe_id}/gateway
GET /api/silences
POST /api/probes/{probe_id}/checks
PUT /api/probes/{probe_id}/check-every
GET /api/profiles
POST /api/profiles
GET /api/profiles/{name}
GET /api/profiles/{name}/toml
POST /api/profiles/{name}/confirmations
POST /api/batches
GET /api/batches/{batch_id}
POST /api/batches/{batch_id}/stays
GET /api/readings
POST /api/readings
GET /api/alarms
GET /api/alarm-load
GET /api/happenings
GET /api/happenings/{happening_id}/truth
POST /api/happenings/{happening_id}/truth
GET /api/people
PUT /api/people/{person_id}
GET /api/call-lists/{daypart}
PUT /api/call-lists/{daypart}
GET /api/on-call
GET /api/rotas
PUT /api/rotas/{rota_id}
DELETE /api/rotas/{rota_id}
PUT /api/rotas/{rota_id}/turns/{turn_id}
DELETE /api/rotas/{rota_id}/turns/{turn_id}
POST /api/rotas/{rota_id}/swaps
POST /api/swaps/{swap_id}/end
GET /api/absences
POST /api/people/{person_id}/absences
POST /api/absences/{absence_id}/end
GET /api/trials
POST /api/people/{person_id}/trials
POST /api/people/{person_id}/rang
GET /api/figures
PUT /api/figures/{name}
GET /api/notices
GET /api/deliveries
GET /api/inbound
POST /api/inbound/texts
POST /api/inbound/receipts
GET /api/rejected
GET /api/rejected/{rejected_id}
"""
AVOIDED = (
    "acknowledge",
    "snooze",
    "threshold",
    "trigger",
    "severity",
    "dashboard",
    "telemetry",
    "heartbeat",
    "payload",
)


@pytest.fixture(scope="module")
def described() -> dict[str, Any]:
    app = FastAPI(openapi_url="/api/openapi.json")
    add_api(app)
    return app.openapi()


def operations(described: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    for path, methods in described["paths"].items():
        for method, operation in methods.items():
            yield f"{method.upper()} {path}", operation


def test_the_description_lists_exactly_what_was_agreed(described: dict[str, Any]) -> None:
    assert {name for name, _ in operations(described)} == set(CONTRACT.split("\n")) - {""}


def test_every_operation_has_a_tag_that_is_explained_a_summary_and_problems(described: dict[str, Any]) -> None:
    explained = {tag["name"] for tag in described["tags"]}
    for name, operation in operations(described):
        assert set(operation["tags"]) <= explained, name
        assert operation["summary"], name
        problems = [
            status
            for status, response in operation["responses"].items()
            if response.get("content", {}).get("application/problem+json")
            == {"schema": {"$ref": "#/components/schemas/Problem"}}
        ]
        assert {"422", "500"} <= set(problems), name


def test_every_parameter_of_a_path_is_described(described: dict[str, Any]) -> None:
    for name, operation in operations(described):
        wanted = {part[1:-1] for part in name.split("/") if part.startswith("{")}
        given = {p["name"] for p in operation.get("parameters", []) if p["in"] == "path"}
        assert wanted == given, name


def test_operation_ids_are_unique(described: dict[str, Any]) -> None:
    ids = [operation["operationId"] for _, operation in operations(described)]
    assert len(ids) == len(set(ids))


def test_every_reference_leads_somewhere(described: dict[str, Any]) -> None:
    schemas = described["components"]["schemas"]
    for reference in _references(described):
        assert reference.removeprefix("#/components/schemas/") in schemas


def test_schemas_and_structure_hold_to_their_standards(described: dict[str, Any]) -> None:
    assert described["openapi"].startswith("3.1")
    OpenAPI.model_validate(described)
    for schema in described["components"]["schemas"].values():
        Draft202012Validator.check_schema(schema)


def test_bodies_take_no_further_fields(described: dict[str, Any]) -> None:
    for name, operation in operations(described):
        content = operation.get("requestBody", {}).get("content", {}).get("application/json", {})
        reference = content.get("schema", {}).get("$ref")
        if reference:
            schema = described["components"]["schemas"][reference.rsplit("/", 1)[1]]
            assert schema["additionalProperties"] is False, name


def test_words_of_software_are_not_used_where_people_read(described: dict[str, Any]) -> None:
    text = str(described).lower()
    assert [word for word in AVOIDED if word in text] == []


def _references(node: Any) -> Iterator[str]:
    if isinstance(node, dict):
        if isinstance(node.get("$ref"), str):
            yield node["$ref"]
        for value in node.values():
            yield from _references(value)
    elif isinstance(node, list):
        for value in node:
            yield from _references(value)
