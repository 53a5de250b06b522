"""The API put together: one application under ``/api``, with problems and a description of its own."""

from __future__ import annotations

from typing import Any, Final

from fastapi import FastAPI

from service.api import (
    alarm_load,
    alarms,
    batches,
    call_lists,
    farm,
    figures,
    first_days,
    happenings,
    holds,
    inbound,
    nights,
    people,
    people_limits,
    probe_checks,
    probes,
    profiles,
    readings,
    rejected,
    replay,
    replies,
    rooms,
    rota,
    sharing,
    silences,
    state,
    tellings,
    trials,
)
from service.api.problems import Problem, add_problems
from service.api.size import BodyLimit
from service.api.versions import houseband_version

UNDER: Final = "/api"
TAGS: Final = {
    "farm": "The farm: name, place, time zone, units.",
    "rooms": "Climate spaces, and what each holds now.",
    "probes": "What is heard, and where it hangs.",
    "profiles": "What each stage of a species wants, every figure with its source.",
    "batches": "Blocks, bottles or bags, and where they are at which stage.",
    "readings": "What was measured, out and in.",
    "holds": "Who works where, and what is left until when.",
    "alarms": "What is open, what was told, what people answer.",
    "happenings": "Who was told of what, what they answered, and what it was.",
    "people": "Who is told, in what order.",
    "rota": "Whose turn it is, who swapped, who is away.",
    "trials": "Whether texts reach people, and their answers us.",
    "figures": "How long to wait, how often to tell: the farm's own figures.",
    "tellings": "What was told to whom, and what came of it.",
    "inbound": "What the text gateway brings.",
    "rejected": "Messages that were not understood.",
    "state": "Whether the service is well.",
}
_PARTS: Final = (
    farm,
    people_limits,
    rooms,
    replay,
    first_days,
    holds,
    nights,
    sharing,
    probes,
    silences,
    probe_checks,
    profiles,
    batches,
    readings,
    alarms,
    happenings,
    alarm_load,
    people,
    call_lists,
    rota,
    figures,
    trials,
    tellings,
    inbound,
    replies,
    rejected,
)
ABOUT: Final = (
    "Moments are ISO 8601 with their offset; answers give them in UTC. Values are in the units SenML names. "
    "Errors are problem details (RFC 9457). Houseband reads and tells; it controls nothing, and it is no gas "
    "detector: never go by a number alone where air can hurt people."
)


class Api(FastAPI):
    """The application under ``/api``; its description gives whole paths."""

    def openapi(self) -> dict[str, Any]:
        """Describe the API."""
        if self.openapi_schema is None:
            described = super().openapi()
            described["paths"] = {UNDER + path: item for path, item in described["paths"].items()}
            schemas = described["components"]["schemas"]
            schemas |= _problem_schemas()
            self.openapi_schema = described
        return self.openapi_schema


def add_api(app: FastAPI) -> None:
    """Add the API to an application whose ``state.desk`` is there before the first request."""
    api = Api(
        title="Houseband",
        version=houseband_version(),
        description=ABOUT,
        openapi_url="/openapi.json",
        openapi_tags=[{"name": name, "description": words} for name, words in TAGS.items()],
        docs_url=None,
        redoc_url=None,
        redirect_slashes=False,
    )
    api.state.house = app
    for part in _PARTS:
        api.include_router(part.router)
    api.include_router(state.make_router())
    add_problems(api)
    api.add_middleware(BodyLimit)
    app.mount(UNDER, api)
    # Where the application around us shows a description, it is this one: its pages describe themselves.
    app.openapi = api.openapi  # type: ignore[method-assign]


def _problem_schemas() -> dict[str, Any]:
    schema = Problem.model_json_schema(ref_template="#/components/schemas/{model}")
    return {**schema.pop("$defs"), "Problem": schema}
