"""First schema: the farm, its readings, what grows where, what was judged and told.

On PostgreSQL the readings are parted by month; the part called "rest" takes whatever month has none of its own.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

MOMENT = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
NUMBER: sa.types.TypeEngine[float] = sa.REAL().with_variant(sa.Double(), "postgresql")


def upgrade() -> None:
    op.create_table(
        "alarms",
        sa.Column("farm_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("room_id", sa.Text(), nullable=False),
        sa.Column("quantity", sa.Text(), nullable=False),
        sa.Column("side", sa.Text(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("since_ms", MOMENT, nullable=False),
        sa.Column("happening_id", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("farm_id", "room_id", "quantity", "side", name=op.f("pk_alarms")),
        sqlite_strict=True,
        sqlite_with_rowid=False,
    )
    op.create_table(
        "answers",
        sa.Column("farm_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("happening_id", sa.Text(), nullable=False),
        sa.Column("person_id", sa.Text(), nullable=False),
        sa.Column("at_ms", MOMENT, nullable=False),
        sa.Column("word", sa.Text(), nullable=False),
        sa.Column("way", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("farm_id", "happening_id", "person_id", "at_ms", "word", name=op.f("pk_answers")),
        sqlite_strict=True,
        sqlite_with_rowid=False,
    )
    op.create_table(
        "arrivals",
        sa.Column("farm_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("arrival_id", sa.Text(), nullable=False),
        sa.Column("room_id", sa.Text(), nullable=False),
        sa.Column("at_ms", MOMENT, nullable=False),
        sa.PrimaryKeyConstraint("farm_id", "arrival_id", name=op.f("pk_arrivals")),
        sqlite_strict=True,
        sqlite_with_rowid=False,
    )
    with op.batch_alter_table("arrivals", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_arrivals_farm_id_room_id"), ["farm_id", "room_id"], unique=False)

    op.create_table(
        "attempts",
        sa.Column("farm_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("delivery_id", sa.Text(), nullable=False),
        sa.Column("attempt", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("at_ms", MOMENT, nullable=False),
        sa.Column("outcome", sa.Text(), nullable=False),
        sa.Column("detail", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("farm_id", "delivery_id", "attempt", name=op.f("pk_attempts")),
        sqlite_strict=True,
        sqlite_with_rowid=False,
    )
    op.create_table(
        "batches",
        sa.Column("farm_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("batch_id", sa.Text(), nullable=False),
        sa.Column("profile", sa.Text(), nullable=False),
        sa.Column("version", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("strain", sa.Text(), nullable=False),
        sa.Column("count", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("container", sa.Text(), nullable=False),
        sa.Column("recorded_ms", MOMENT, nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("farm_id", "batch_id", name=op.f("pk_batches")),
        sqlite_strict=True,
        sqlite_with_rowid=False,
    )
    op.create_table(
        "call_list",
        sa.Column("farm_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("daypart", sa.Text(), nullable=False),
        sa.Column("position", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("person_id", sa.Text(), nullable=False),
        sa.Column("after_ms", MOMENT, nullable=False),
        sa.Column("recorded_ms", MOMENT, nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("farm_id", "daypart", "position", name=op.f("pk_call_list")),
        sqlite_strict=True,
        sqlite_with_rowid=False,
    )
    op.create_table(
        "compromises",
        sa.Column("farm_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("room_id", sa.Text(), nullable=False),
        sa.Column("quantity", sa.Text(), nullable=False),
        sa.Column("recorded_ms", MOMENT, nullable=False),
        sa.Column("from_ms", MOMENT, nullable=False),
        sa.Column("low", NUMBER, nullable=True),
        sa.Column("high", NUMBER, nullable=True),
        sa.Column("facts", sa.Text(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("farm_id", "room_id", "quantity", "recorded_ms", name=op.f("pk_compromises")),
        sqlite_strict=True,
        sqlite_with_rowid=False,
    )
    op.create_table(
        "confirmations",
        sa.Column("farm_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("profile", sa.Text(), nullable=False),
        sa.Column("version", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("stage", sa.Text(), nullable=False),
        sa.Column("recorded_ms", MOMENT, nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("farm_id", "profile", "version", "stage", name=op.f("pk_confirmations")),
        sqlite_strict=True,
        sqlite_with_rowid=False,
    )
    op.create_table(
        "deliveries",
        sa.Column("farm_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("delivery_id", sa.Text(), nullable=False),
        sa.Column("notice_key", sa.Text(), nullable=False),
        sa.Column("step", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("person_id", sa.Text(), nullable=False),
        sa.Column("way", sa.Text(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("attempts", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("next_ms", MOMENT, nullable=False),
        sa.Column("claimed_until_ms", MOMENT, nullable=False),
        sa.Column("first_try_ms", MOMENT, nullable=True),
        sa.Column("ended_ms", MOMENT, nullable=True),
        sa.Column("detail", sa.Text(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("farm_id", "delivery_id", name=op.f("pk_deliveries")),
        sa.UniqueConstraint(
            "farm_id",
            "notice_key",
            "step",
            "person_id",
            "way",
            name=op.f("uq_deliveries_farm_id_notice_key_step_person_id_way"),
        ),
        sqlite_strict=True,
        sqlite_with_rowid=False,
    )
    with op.batch_alter_table("deliveries", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_deliveries_farm_id_state"), ["farm_id", "state"], unique=False)

    op.create_table(
        "farms",
        sa.Column("farm_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("slug", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("place", sa.Text(), nullable=False),
        sa.Column("zone", sa.Text(), nullable=False),
        sa.Column("altitude_m", NUMBER, nullable=False),
        sa.Column("units", sa.Text(), nullable=False),
        sa.Column("language", sa.Text(), nullable=False),
        sa.Column("room_word", sa.Text(), nullable=False),
        sa.Column("invented", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("morning_round_minute", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("evening_round_minute", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("people_8h_ppm", NUMBER, nullable=True),
        sa.Column("people_15min_ppm", NUMBER, nullable=True),
        sa.Column("people_ceiling_ppm", NUMBER, nullable=True),
        sa.Column("created_ms", MOMENT, nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("farm_id", name=op.f("pk_farms")),
        sa.UniqueConstraint("slug", name=op.f("uq_farms_slug")),
        sqlite_strict=True,
        sqlite_with_rowid=False,
    )
    op.create_table(
        "happenings",
        sa.Column("farm_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("happening_id", sa.Text(), nullable=False),
        sa.Column("room_id", sa.Text(), nullable=False),
        sa.Column("began_ms", MOMENT, nullable=False),
        sa.Column("ended_ms", MOMENT, nullable=True),
        sa.Column("closed_ms", MOMENT, nullable=True),
        sa.Column("woke", sa.Integer(), autoincrement=False, nullable=False),
        sa.PrimaryKeyConstraint("farm_id", "happening_id", name=op.f("pk_happenings")),
        sqlite_strict=True,
        sqlite_with_rowid=False,
    )
    with op.batch_alter_table("happenings", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_happenings_farm_id_room_id"), ["farm_id", "room_id"], unique=False)

    op.create_table(
        "holds",
        sa.Column("farm_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("hold_id", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("room_id", sa.Text(), nullable=True),
        sa.Column("quantity", sa.Text(), nullable=True),
        sa.Column("side", sa.Text(), nullable=True),
        sa.Column("person_id", sa.Text(), nullable=True),
        sa.Column("from_ms", MOMENT, nullable=False),
        sa.Column("until_ms", MOMENT, nullable=False),
        sa.Column("ended_ms", MOMENT, nullable=True),
        sa.Column("ended_by", sa.Text(), nullable=True),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("recorded_ms", MOMENT, nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("farm_id", "hold_id", name=op.f("pk_holds")),
        sqlite_strict=True,
        sqlite_with_rowid=False,
    )
    with op.batch_alter_table("holds", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_holds_farm_id_room_id"), ["farm_id", "room_id"], unique=False)

    op.create_table(
        "identities",
        sa.Column("farm_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("farm_id", "name", name=op.f("pk_identities")),
        sqlite_strict=True,
        sqlite_with_rowid=False,
    )
    op.create_table(
        "judgements",
        sa.Column("farm_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("room_id", sa.Text(), nullable=False),
        sa.Column("judged_ms", MOMENT, nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("people_ms", MOMENT, nullable=True),
        sa.Column("people_state", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("farm_id", "room_id", name=op.f("pk_judgements")),
        sqlite_strict=True,
        sqlite_with_rowid=False,
    )
    op.create_table(
        "notices",
        sa.Column("farm_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("notice_key", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("telling", sa.Text(), nullable=False),
        sa.Column("room_id", sa.Text(), nullable=True),
        sa.Column("happening_id", sa.Text(), nullable=True),
        sa.Column("at_ms", MOMENT, nullable=False),
        sa.Column("decided_ms", MOMENT, nullable=False),
        sa.Column("use_by_ms", MOMENT, nullable=False),
        sa.Column("facts", sa.Text(), nullable=False),
        sa.Column("addressed", sa.Integer(), autoincrement=False, nullable=False),
        sa.PrimaryKeyConstraint("farm_id", "notice_key", name=op.f("pk_notices")),
        sqlite_strict=True,
        sqlite_with_rowid=False,
    )
    with op.batch_alter_table("notices", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_notices_farm_id_addressed"), ["farm_id", "addressed"], unique=False)
        batch_op.create_index(
            batch_op.f("ix_notices_farm_id_happening_id"), ["farm_id", "happening_id"], unique=False
        )

    op.create_table(
        "people",
        sa.Column("farm_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("person_id", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("phone", sa.Text(), nullable=True),
        sa.Column("email", sa.Text(), nullable=True),
        sa.Column("units", sa.Text(), nullable=False),
        sa.Column("language", sa.Text(), nullable=False),
        sa.Column("active", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("recorded_ms", MOMENT, nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("farm_id", "person_id", name=op.f("pk_people")),
        sqlite_strict=True,
        sqlite_with_rowid=False,
    )
    op.create_table(
        "placements",
        sa.Column("farm_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("probe_id", sa.Text(), nullable=False),
        sa.Column("valid_from_ms", MOMENT, nullable=False),
        sa.Column("valid_to_ms", MOMENT, nullable=True),
        sa.Column("room_id", sa.Text(), nullable=False),
        sa.Column("place", sa.Text(), nullable=False),
        sa.Column("recorded_ms", MOMENT, nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("farm_id", "probe_id", "valid_from_ms", name=op.f("pk_placements")),
        sqlite_strict=True,
        sqlite_with_rowid=False,
    )
    with op.batch_alter_table("placements", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_placements_farm_id_room_id"), ["farm_id", "room_id"], unique=False)

    op.create_table(
        "probes",
        sa.Column("farm_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("probe_id", sa.Text(), nullable=False),
        sa.Column("first_heard_ms", MOMENT, nullable=False),
        sa.Column("last_heard_ms", MOMENT, nullable=False),
        sa.Column("co2_top_ppm", NUMBER, nullable=True),
        sa.Column("co2_top_who", sa.Text(), nullable=True),
        sa.Column("co2_top_recorded_ms", MOMENT, nullable=True),
        sa.PrimaryKeyConstraint("farm_id", "probe_id", name=op.f("pk_probes")),
        sqlite_strict=True,
        sqlite_with_rowid=False,
    )
    op.create_table(
        "profiles",
        sa.Column("farm_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("profile", sa.Text(), nullable=False),
        sa.Column("version", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("body_sha256", sa.Text(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("copied_from", sa.Text(), nullable=True),
        sa.Column("recorded_ms", MOMENT, nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("farm_id", "profile", "version", name=op.f("pk_profiles")),
        sqlite_strict=True,
        sqlite_with_rowid=False,
    )
    op.create_table(
        "pulses",
        sa.Column("farm_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("part", sa.Text(), nullable=False),
        sa.Column("at_ms", MOMENT, nullable=False),
        sa.Column("detail", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("farm_id", "part", name=op.f("pk_pulses")),
        sqlite_strict=True,
        sqlite_with_rowid=False,
    )
    op.create_table(
        "readings",
        sa.Column("farm_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("series_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("at_ms", MOMENT, nullable=False),
        sa.Column("value", NUMBER, nullable=False),
        sa.Column("late_ms", MOMENT, nullable=False),
        sa.PrimaryKeyConstraint("farm_id", "series_id", "at_ms", name=op.f("pk_readings")),
        postgresql_partition_by="RANGE (at_ms)",
        sqlite_strict=True,
        sqlite_with_rowid=False,
    )
    op.create_table(
        "rejected",
        sa.Column("farm_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("rejected_id", sa.Text(), nullable=False),
        sa.Column("received_ms", MOMENT, nullable=False),
        sa.Column("topic", sa.Text(), nullable=False),
        sa.Column("probe_id", sa.Text(), nullable=True),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("detail", sa.Text(), nullable=False),
        sa.Column("payload", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("farm_id", "rejected_id", name=op.f("pk_rejected")),
        sqlite_strict=True,
        sqlite_with_rowid=False,
    )
    with op.batch_alter_table("rejected", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_rejected_farm_id_received_ms"), ["farm_id", "received_ms"], unique=False
        )

    op.create_table(
        "rooms",
        sa.Column("farm_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("room_id", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("text_name", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("position", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("first_days_end_ms", MOMENT, nullable=False),
        sa.Column("first_days_who", sa.Text(), nullable=False),
        sa.Column("created_ms", MOMENT, nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("farm_id", "room_id", name=op.f("pk_rooms")),
        sqlite_strict=True,
        sqlite_with_rowid=False,
    )
    op.create_table(
        "sent_digests",
        sa.Column("farm_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("person_id", sa.Text(), nullable=False),
        sa.Column("local_date", sa.Text(), nullable=False),
        sa.Column("at_ms", MOMENT, nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("attempts", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("next_ms", MOMENT, nullable=False),
        sa.Column("detail", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("farm_id", "kind", "person_id", "local_date", name=op.f("pk_sent_digests")),
        sqlite_strict=True,
        sqlite_with_rowid=False,
    )
    op.create_table(
        "series",
        sa.Column("farm_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("series_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("probe_id", sa.Text(), nullable=False),
        sa.Column("quantity", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("farm_id", "series_id", name=op.f("pk_series")),
        sa.UniqueConstraint("farm_id", "probe_id", "quantity", name=op.f("uq_series_farm_id_probe_id_quantity")),
        sqlite_strict=True,
        sqlite_with_rowid=False,
    )
    op.create_table(
        "stays",
        sa.Column("farm_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("batch_id", sa.Text(), nullable=False),
        sa.Column("valid_from_ms", MOMENT, nullable=False),
        sa.Column("recorded_ms", MOMENT, nullable=False),
        sa.Column("room_id", sa.Text(), nullable=True),
        sa.Column("stage", sa.Text(), nullable=False),
        sa.Column("profile", sa.Text(), nullable=True),
        sa.Column("version", sa.Integer(), autoincrement=False, nullable=True),
        sa.Column("who", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("farm_id", "batch_id", "valid_from_ms", "recorded_ms", name=op.f("pk_stays")),
        sqlite_strict=True,
        sqlite_with_rowid=False,
    )
    with op.batch_alter_table("stays", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_stays_farm_id_room_id"), ["farm_id", "room_id"], unique=False)

    op.create_table(
        "tallies",
        sa.Column("farm_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("total", MOMENT, nullable=False),
        sa.PrimaryKeyConstraint("farm_id", "name", name=op.f("pk_tallies")),
        sqlite_strict=True,
        sqlite_with_rowid=False,
    )
    op.create_table(
        "transitions",
        sa.Column("farm_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("room_id", sa.Text(), nullable=False),
        sa.Column("quantity", sa.Text(), nullable=False),
        sa.Column("side", sa.Text(), nullable=False),
        sa.Column("at_ms", MOMENT, nullable=False),
        sa.Column("happens", sa.Text(), nullable=False),
        sa.Column("from_state", sa.Text(), nullable=False),
        sa.Column("to_state", sa.Text(), nullable=False),
        sa.Column("decided_ms", MOMENT, nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("happening_id", sa.Text(), nullable=True),
        sa.Column("facts", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint(
            "farm_id", "room_id", "quantity", "side", "at_ms", "happens", name=op.f("pk_transitions")
        ),
        sqlite_strict=True,
        sqlite_with_rowid=False,
    )
    op.create_table(
        "usuals",
        sa.Column("farm_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("room_id", sa.Text(), nullable=False),
        sa.Column("quantity", sa.Text(), nullable=False),
        sa.Column("made_ms", MOMENT, nullable=False),
        sa.Column("from_ms", MOMENT, nullable=False),
        sa.Column("until_ms", MOMENT, nullable=False),
        sa.Column("steps", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("farm_id", "room_id", "quantity", "made_ms", name=op.f("pk_usuals")),
        sqlite_strict=True,
        sqlite_with_rowid=False,
    )
    if op.get_bind().dialect.name == "postgresql":
        op.execute("CREATE TABLE readings_rest PARTITION OF readings DEFAULT")


def downgrade() -> None:
    op.drop_table("usuals")
    op.drop_table("transitions")
    op.drop_table("tallies")
    with op.batch_alter_table("stays", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_stays_farm_id_room_id"))

    op.drop_table("stays")
    op.drop_table("series")
    op.drop_table("sent_digests")
    op.drop_table("rooms")
    with op.batch_alter_table("rejected", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_rejected_farm_id_received_ms"))

    op.drop_table("rejected")
    op.drop_table("readings")
    op.drop_table("pulses")
    op.drop_table("profiles")
    op.drop_table("probes")
    with op.batch_alter_table("placements", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_placements_farm_id_room_id"))

    op.drop_table("placements")
    op.drop_table("people")
    with op.batch_alter_table("notices", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_notices_farm_id_happening_id"))
        batch_op.drop_index(batch_op.f("ix_notices_farm_id_addressed"))

    op.drop_table("notices")
    op.drop_table("judgements")
    op.drop_table("identities")
    with op.batch_alter_table("holds", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_holds_farm_id_room_id"))

    op.drop_table("holds")
    with op.batch_alter_table("happenings", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_happenings_farm_id_room_id"))

    op.drop_table("happenings")
    op.drop_table("farms")
    with op.batch_alter_table("deliveries", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_deliveries_farm_id_state"))

    op.drop_table("deliveries")
    op.drop_table("confirmations")
    op.drop_table("compromises")
    op.drop_table("call_list")
    op.drop_table("batches")
    op.drop_table("attempts")
    with op.batch_alter_table("arrivals", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_arrivals_farm_id_room_id"))

    op.drop_table("arrivals")
    op.drop_table("answers")
    op.drop_table("alarms")
