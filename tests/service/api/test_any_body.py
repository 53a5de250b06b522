"""Whatever JSON is sent to whatever takes some: never a 500, and what is refused is a problem."""

from __future__ import annotations

import json
from typing import Any, Final
from urllib.parse import quote

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.support.api import Api, problem_in
from tests.support.steady import STEADY

GOOD: Final[dict[str, dict[str, Any]]] = {
    "PUT /api/farm": {
        "name": "T", "place": "", "zone": "UTC", "altitude_m": 1, "units": "us", "language": "en",
        "room_word": "house", "invented": True, "morning_round": "06:00", "evening_round": "18:00", "who": "I",
    },
    "PUT /api/farm/people-limits": {
        "eight_hours_ppm": 3000, "fifteen_minutes_ppm": None, "ceiling_ppm": None, "who": "I",
    },
    "PUT /api/probes/h7-door/top": {"co2_top_ppm": 5000, "who": "I"},
    "POST /api/rooms": {"room_id": "r", "name": "R", "text_name": None, "kind": "outside", "who": "I"},
    "POST /api/rooms/house-7/first-days": {"end": None, "who": "I"},
    "POST /api/rooms/house-7/assign": {
        "profile": "shiitake", "stage": "rest", "from": "2026-11-25T12:00:00Z", "who": "I", "batch_id": "SH-41",
        "strain": None, "count": None, "container": None, "compromise": "accepted",
    },
    "POST /api/rooms/house-7/answers": {"person_id": "ben", "word": "going"},
    "POST /api/probes/h7-door/placements": {"room_id": None, "place": "", "from": None, "who": "I"},
    "POST /api/profiles/shiitake/confirmations": {"stage": None, "version": None, "who": "I"},
    "POST /api/batches": {
        "batch_id": "b", "profile": "shiitake", "version": 1, "strain": "", "count": 1, "container": "",
        "room_id": None, "stage": "rest", "from": None, "who": "I",
    },
    "POST /api/batches/SH-41/stays": {
        "room_id": "house-3", "stage": "rest", "from": None, "who": "I", "compromise": "accepted",
    },
    "POST /api/rooms/house-7/working": {"person_id": "ben", "until": "2026-11-25T14:00:00Z"},
    "POST /api/working": {"person_id": "ben", "until": "2026-11-25T14:00:00Z"},
    "POST /api/rooms/house-7/leave": {
        "quantity": "humidity", "side": "low", "until": "2026-11-25T14:00:00Z", "why": "W", "who": "I",
    },
    "POST /api/people/ben/out": {},
    "POST /api/holds/0/end": {"who": "I"},
    "POST /api/readings": {},
    "PUT /api/people/ben": {
        "name": "B", "phone": "+12025550142", "email": None, "units": "us", "language": "en", "active": True,
        "who": "I",
    },
    "PUT /api/rotas/nights": {"name": "Nights", "who": "I"},
    "PUT /api/rotas/nights/turns/a": {
        "person_id": "ben", "starts": "2026-10-26T20:00", "minutes": 720, "repeats": "FREQ=DAILY", "who": "I",
    },
    "POST /api/rotas/nights/swaps": {
        "person_id": "ben", "from": "2026-11-25T12:00:00Z", "until": "2026-11-26T12:00:00Z", "who": "I",
    },
    "POST /api/people/ben/absences": {
        "from": "2026-11-25T12:00:00Z", "until": "2026-11-26T12:00:00Z", "instead": None, "why": "", "who": "I",
    },
    "POST /api/people/ben/trials": {"kind": "night ring", "who": "I"},
    "POST /api/people/ben/rang": {"who": "I"},
    "PUT /api/figures/going_minutes": {"value": 50, "who": "I"},
    "PUT /api/call-lists/day": {"lines": [{"person_id": "ben", "after_minutes": 0}], "who": "I"},
    "PUT /api/call-lists/night": {"lines": [{"rota_id": "nights", "after_minutes": 0}], "who": "I"},
    "PUT /api/people/cal": {
        "name": "C", "phone": "(202) 555-0143", "region": "US", "email": "c@example.org", "units": "us",
        "language": "es", "active": True, "manager": True, "way": "mail", "rooms": ["house-7"],
        "hours_from": "20:00", "hours_to": "06:00", "morning_text": True, "who": "I",
    },
    "PUT /api/probes/h7-door/gateway": {"gateway": "barn", "who": "I"},
    "POST /api/probes/h7-door/checks": {"at": "2026-11-25T11:00:00Z", "who": "I"},
    "PUT /api/probes/h7-door/check-every": {"days": 90},
    "POST /api/happenings/house-7@1/truth": {"what": "gear", "harm": "none", "who": "I"},
    "POST /api/swaps/0/end": {"who": "I"},
    "POST /api/absences/0/end": {"who": "I"},
    "POST /api/inbound/texts": {"from": "+12025550142", "text": "7 going", "id": "1"},
    "POST /api/inbound/receipts": {"id": "1", "status": "delivered"},
}  # fmt: skip

ODD_TEXT = st.text(st.characters(exclude_categories=()), max_size=20) | st.sampled_from(
    ["", " ", "\x00", "\ud800", "+0", "0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59.999999-14:00", "house-3"]
)
ODD_NUMBER = st.sampled_from([10**400, -(10**400), 2**63, 1e308, float("nan"), float("inf"), -0.0]) | st.integers()
ANYTHING = st.recursive(
    st.none() | st.booleans() | ODD_NUMBER | st.floats() | ODD_TEXT,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(ODD_TEXT, inner, max_size=4),
    max_leaves=8,
)
SENML = st.lists(
    st.dictionaries(
        st.sampled_from(["bn", "bt", "bu", "bv", "bver", "n", "u", "v", "vs", "vb", "t", "s", "ut"]),
        ANYTHING | st.sampled_from(["h7-door/humidity", "x/temperature", "%RH", "Cel", 1_795_600_000, 50]),
        max_size=6,
    ),
    max_size=4,
)


@st.composite
def requests(draw: st.DrawFn) -> tuple[str, Any]:
    """Where to, and what: anything at all, a pack gone wrong, or a good body with a few fields replaced."""
    where = draw(st.sampled_from(sorted(GOOD)))
    if where == "POST /api/readings":
        return where, draw(SENML | ANYTHING)
    names = sorted(GOOD[where])
    replaced = draw(
        st.dictionaries((st.sampled_from(names) if names else st.nothing()) | ODD_TEXT, ANYTHING, max_size=3)
    )
    return where, draw(st.just({**GOOD[where], **replaced}) | ANYTHING)


@settings(
    STEADY, max_examples=250, suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture]
)
@given(request=requests())
async def test_no_body_makes_an_accident(api: Api, request: tuple[str, Any]) -> None:
    (method, path), body = request[0].split(" "), request[1]
    headers = {"content-type": "application/json"}
    answer = await api.client.request(method, path, content=json.dumps(body).encode(), headers=headers)
    assert answer.status_code < 500, answer.text
    if answer.status_code >= 400:
        problem_in(answer)


@settings(
    STEADY, max_examples=150, suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture]
)
@given(
    path=st.sampled_from(
        [
            "readings",
            "alarms",
            "notices",
            "deliveries",
            "rejected",
            "probes",
            "rooms/",
            "batches/",
            "profiles/",
            "happenings",
            "inbound",
            "silences",
            "trials",
            "on-call",
            "rotas",
            "absences",
            "call-lists/",
            "alarm-load",
        ]
    ),
    tail=ODD_TEXT.filter(lambda text: not any("\ud800" <= letter <= "\udfff" for letter in text)),
    name=st.sampled_from(
        ["probe", "room", "quantity", "from", "to", "limit", "after", "open", "state", "waiting", "at", "unknown"]
    ),
)
async def test_no_question_makes_an_accident(api: Api, path: str, tail: str, name: str) -> None:
    # A line break in a path ends where the application around the API looks for addresses, before it is ours.
    named = quote(tail.replace("\n", ""), safe="") if path.endswith("/") else ""
    answer = await api.client.get(f"/api/{path}{named}", params={"probe": "h7-door", name: tail})
    assert answer.status_code < 500, answer.text
    if answer.status_code >= 400:
        problem_in(answer)
