"""The declared tables. ``migrations/`` builds the same; a test holds the two together.

``farm_id`` stands in every table and key. Moments are UTC milliseconds, flags are 0 or 1, structured facts are
JSON text: these types are the same on both databases and pass SQLite's STRICT. Keys are natural wherever one
exists, so that doing a thing twice finds the first time.
"""

from __future__ import annotations

from typing import Any

from sqlalchemy import (
    REAL,
    BigInteger,
    Column,
    Double,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    PrimaryKeyConstraint,
    Table,
    Text,
    UniqueConstraint,
)
from sqlalchemy.types import TypeEngine

Moment = BigInteger().with_variant(Integer(), "sqlite")
Number: TypeEngine[float] = REAL().with_variant(Double(), "postgresql")

metadata = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "pk": "pk_%(table_name)s",
    }
)


def _table(name: str, key: str, *columns: Any, **options: Any) -> Table:
    return Table(
        name,
        metadata,
        Column("farm_id", Integer, nullable=False, autoincrement=False),
        *columns,
        PrimaryKeyConstraint("farm_id", *key.split()),
        sqlite_strict=True,
        sqlite_with_rowid=False,
        **options,
    )


def _text(name: str, *, null: bool = False, default: str | None = None) -> Column[str]:
    return Column(name, Text, nullable=null, server_default=default)


def _moment(name: str, *, null: bool = False, default: int | None = None) -> Column[int]:
    return Column(name, Moment, nullable=null, server_default=_written(default))


def _whole(name: str, *, null: bool = False, default: int | None = None) -> Column[int]:
    return Column(name, Integer, nullable=null, autoincrement=False, server_default=_written(default))


def _written(default: int | None) -> str | None:
    return None if default is None else str(default)


def _number(name: str, *, null: bool = False) -> Column[float]:
    return Column(name, Number, nullable=null)


# --- the farm, its rooms and probes -------------------------------------------------------------------------

farms = _table(
    "farms", "",
    _text("slug"), _text("name"), _text("place"), _text("zone"), _number("altitude_m"), _text("units"),
    _text("language"), _text("room_word"), _whole("invented"), _whole("morning_round_minute"),
    _whole("evening_round_minute"), _number("people_8h_ppm", null=True), _number("people_15min_ppm", null=True),
    _number("people_ceiling_ppm", null=True), _moment("created_ms"), _text("who"),
    UniqueConstraint("slug"),
)  # fmt: skip
rooms = _table(
    "rooms", "room_id",
    _text("room_id"), _text("name"), _text("text_name"), _text("kind"), _whole("position"),
    _moment("first_days_end_ms"), _text("first_days_who"), _moment("created_ms"), _text("who"),
)  # fmt: skip
probes = _table(
    "probes", "probe_id",
    _text("probe_id"), _moment("first_heard_ms"), _moment("last_heard_ms"), _number("co2_top_ppm", null=True),
    _text("co2_top_who", null=True), _moment("co2_top_recorded_ms", null=True), _text("gateway", null=True),
    _moment("checked_ms", null=True), _text("checked_who", null=True), _whole("check_every_days", null=True),
)  # fmt: skip
placements = _table(
    "placements", "probe_id valid_from_ms",
    _text("probe_id"), _moment("valid_from_ms"), _moment("valid_to_ms", null=True), _text("room_id"),
    _text("place"), _moment("recorded_ms"), _text("who"),
    Index(None, "farm_id", "room_id"),
)  # fmt: skip
series = _table(
    "series", "series_id",
    _whole("series_id"), _text("probe_id"), _text("quantity"),
    UniqueConstraint("farm_id", "probe_id", "quantity"),
)  # fmt: skip
readings = _table(
    "readings", "series_id at_ms",
    _whole("series_id"), _moment("at_ms"), _number("value"), _moment("late_ms"),
    postgresql_partition_by="RANGE (at_ms)",
)  # fmt: skip
rejected = _table(
    "rejected", "rejected_id",
    _text("rejected_id"), _moment("received_ms"), _text("topic"), _text("probe_id", null=True), _text("reason"),
    _text("detail"), Column("payload", LargeBinary, nullable=False),
    Index(None, "farm_id", "received_ms"),
)  # fmt: skip
tallies = _table("tallies", "name", _text("name"), _moment("total"))

# --- what grows where ---------------------------------------------------------------------------------------

profiles = _table(
    "profiles", "profile version",
    _text("profile"), _whole("version"), _text("body_sha256"), _text("body"), _text("copied_from", null=True),
    _moment("recorded_ms"), _text("who"),
)  # fmt: skip
confirmations = _table(
    "confirmations", "profile version stage",
    _text("profile"), _whole("version"), _text("stage"), _moment("recorded_ms"), _text("who"),
)  # fmt: skip
batches = _table(
    "batches", "batch_id",
    _text("batch_id"), _text("profile"), _whole("version"), _text("strain"), _whole("count"),
    _text("container"), _moment("recorded_ms"), _text("who"),
)  # fmt: skip
stays = _table(
    "stays", "batch_id valid_from_ms recorded_ms",
    _text("batch_id"), _moment("valid_from_ms"), _moment("recorded_ms"), _text("room_id", null=True),
    _text("stage"), _text("profile", null=True), _whole("version", null=True), _text("who"),
    Index(None, "farm_id", "room_id"),
)  # fmt: skip
compromises = _table(
    "compromises", "room_id quantity recorded_ms",
    _text("room_id"), _text("quantity"), _moment("recorded_ms"), _moment("from_ms"), _number("low", null=True),
    _number("high", null=True), _text("facts"), _text("who"),
)  # fmt: skip
holds = _table(
    "holds", "hold_id",
    _text("hold_id"), _text("kind"), _text("room_id", null=True), _text("quantity", null=True),
    _text("side", null=True), _text("person_id", null=True), _moment("from_ms"), _moment("until_ms"),
    _moment("ended_ms", null=True), _text("ended_by", null=True), _text("why"), _moment("recorded_ms"),
    _text("who"),
    Index(None, "farm_id", "room_id"),
)  # fmt: skip
usuals = _table(
    "usuals", "room_id quantity made_ms",
    _text("room_id"), _text("quantity"), _moment("made_ms"), _moment("from_ms"), _moment("until_ms"),
    _text("steps"),
)  # fmt: skip

# --- judging: the present of a room, and the ledger of what was told -------------------------------------------

judgements = _table(
    "judgements", "room_id",
    _text("room_id"), _moment("judged_ms"), _text("state"), _moment("people_ms", null=True),
    _text("people_state", null=True),
)  # fmt: skip
arrivals = _table(
    "arrivals", "arrival_id",
    _text("arrival_id"), _text("room_id"), _moment("at_ms"),
    Index(None, "farm_id", "room_id"),
)  # fmt: skip
happenings = _table(
    "happenings", "happening_id",
    _text("happening_id"), _text("room_id", null=True), _moment("began_ms"), _moment("ended_ms", null=True),
    _moment("closed_ms", null=True), _whole("woke"), _text("part_of", null=True),
    Index(None, "farm_id", "room_id"), Index(None, "farm_id", "ended_ms"), Index(None, "farm_id", "closed_ms"),
    Index(None, "farm_id", "part_of"),
)  # fmt: skip
alarms = _table(
    "alarms", "room_id quantity side",
    _text("room_id"), _text("quantity"), _text("side"), _text("state"), _moment("since_ms"),
    _text("happening_id", null=True),
)  # fmt: skip
transitions = _table(
    "transitions", "room_id quantity side at_ms happens",
    _text("room_id"), _text("quantity"), _text("side"), _moment("at_ms"), _text("happens"), _text("from_state"),
    _text("to_state"), _moment("decided_ms"), _text("who"), _text("happening_id", null=True), _text("facts"),
)  # fmt: skip
notices = _table(
    "notices", "notice_key",
    _text("notice_key"), _text("kind"), _text("telling"), _text("room_id", null=True),
    _text("happening_id", null=True), _moment("at_ms"), _moment("decided_ms"), _moment("use_by_ms"),
    _text("facts"), _whole("addressed"),
    Index(None, "farm_id", "happening_id"), Index(None, "farm_id", "addressed"),
)  # fmt: skip

# --- telling people -------------------------------------------------------------------------------------------

people = _table(
    "people", "person_id",
    _text("person_id"), _text("name"), _text("phone", null=True), _text("email", null=True), _text("units"),
    _text("language"), _whole("active"), _moment("recorded_ms"), _text("who"), _whole("manager", default=0),
    _text("way", default="text"), _text("room_ids", null=True), _whole("hours_from_minute", null=True),
    _whole("hours_to_minute", null=True), _whole("morning_text", default=0), _moment("round_trip_ms", null=True),
    _moment("rang_ms", null=True), _moment("opted_out_ms", null=True),
)  # fmt: skip
call_list = _table(
    "call_list", "daypart position",
    _text("daypart"), _whole("position"), _text("person_id", null=True), _text("rota_id", null=True),
    _moment("after_ms"),
    _moment("recorded_ms"), _text("who"),
)  # fmt: skip
deliveries = _table(
    "deliveries", "delivery_id",
    _text("delivery_id"), _text("notice_key"), _whole("step"), _text("person_id"), _text("way"), _text("state"),
    _whole("attempts"), _moment("next_ms"), _moment("claimed_until_ms"), _moment("first_try_ms", null=True),
    _moment("ended_ms", null=True), _text("detail"), _text("text"), _moment("added_ms", default=0),
    _text("gateway_ref", null=True), _text("receipt", null=True), _moment("receipt_ms", null=True),
    UniqueConstraint("farm_id", "notice_key", "step", "person_id", "way"), Index(None, "farm_id", "state"),
    Index(None, "farm_id", "gateway_ref"), Index(None, "farm_id", "person_id", "added_ms"),
)  # fmt: skip
attempts = _table(
    "attempts", "delivery_id attempt",
    _text("delivery_id"), _whole("attempt"), _moment("at_ms"), _text("outcome"), _text("detail"),
)  # fmt: skip
answers = _table(
    "answers", "happening_id person_id at_ms word",
    _text("happening_id"), _text("person_id"), _moment("at_ms"), _text("word"), _text("way"),
    Index(None, "farm_id", "at_ms"),
)  # fmt: skip
rotas = _table("rotas", "rota_id", _text("rota_id"), _text("name"), _moment("recorded_ms"), _text("who"))
turns = _table(
    "turns", "rota_id turn_id",
    _text("rota_id"), _text("turn_id"), _text("person_id"), _text("starts_local"), _whole("minutes"),
    _text("rrule"), _moment("recorded_ms"), _text("who"),
)  # fmt: skip
swaps = _table(
    "swaps", "swap_id",
    _text("swap_id"), _text("rota_id"), _text("person_id"), _moment("from_ms"), _moment("until_ms"),
    _moment("ended_ms", null=True), _moment("recorded_ms"), _text("who"),
)  # fmt: skip
absences = _table(
    "absences", "absence_id",
    _text("absence_id"), _text("person_id"), _moment("from_ms"), _moment("until_ms"),
    _text("instead_id", null=True), _text("why"), _moment("ended_ms", null=True), _moment("recorded_ms"),
    _text("who"),
)  # fmt: skip
figures = _table(
    "figures", "name recorded_ms", _text("name"), _moment("recorded_ms"), _number("value"), _text("who")
)
trials = _table(
    "trials", "trial_id",
    _text("trial_id"), _text("person_id"), _text("kind"), _moment("at_ms"), _text("delivery_id"),
    _moment("answered_ms", null=True), _text("answered_by", null=True),
)  # fmt: skip
inbound = _table(
    "inbound", "inbound_id",
    _text("inbound_id"), _text("way"), _text("phone"), _text("text"), _moment("received_ms"),
    _text("person_id", null=True), _text("word", null=True), _text("happening_id", null=True), _text("result"),
    Index(None, "farm_id", "received_ms"),
)  # fmt: skip
links = _table(
    "links", "link_id",
    _text("link_id"), _text("person_id"), _text("happening_id", null=True), _text("delivery_id"),
    _moment("made_ms"), _moment("expires_ms"), _moment("used_ms", null=True), _text("used_for", null=True),
    Index(None, "farm_id", "delivery_id"),
)  # fmt: skip
silences = _table(
    "silences", "scope name since_ms",
    _text("scope"), _text("name"), _moment("since_ms"), _moment("noticed_ms"), _moment("told_ms", null=True),
    _moment("ended_ms", null=True), _text("happening_id", null=True), _text("facts"),
    Index(None, "farm_id", "ended_ms"),
)  # fmt: skip
truths = _table(
    "truths", "happening_id recorded_ms",
    _text("happening_id"), _moment("recorded_ms"), _text("what"), _text("harm"), _text("who"),
)  # fmt: skip
sent_digests = _table(
    "sent_digests", "kind person_id local_date",
    _text("kind"), _text("person_id"), _text("local_date"), _moment("at_ms"), _text("state"), _whole("attempts"),
    _moment("next_ms"), _text("detail"),
)  # fmt: skip

# --- the machine room -----------------------------------------------------------------------------------------

pulses = _table("pulses", "part", _text("part"), _moment("at_ms"), _text("detail"))
identities = _table("identities", "name", _text("name"), _text("value"))
