"""Telling people until somebody answers: rotas, links, what was answered, silences, and what it was after all.

A happening may be of no room (the whole site, a silence). Going back, such happenings and the lines of rotas in
call lists are dropped: the code before does not know them.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

MOMENT = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
NUMBER: sa.types.TypeEngine[float] = sa.REAL().with_variant(sa.Double(), "postgresql")


def upgrade() -> None:
    op.create_table(
        "absences",
        sa.Column("farm_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("absence_id", sa.Text(), nullable=False),
        sa.Column("person_id", sa.Text(), nullable=False),
        sa.Column("from_ms", MOMENT, nullable=False),
        sa.Column("until_ms", MOMENT, nullable=False),
        sa.Column("instead_id", sa.Text(), nullable=True),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("ended_ms", MOMENT, nullable=True),
        sa.Column("recorded_ms", MOMENT, nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("farm_id", "absence_id", name=op.f("pk_absences")),
        sqlite_strict=True,
        sqlite_with_rowid=False,
    )
    op.create_table(
        "figures",
        sa.Column("farm_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("recorded_ms", MOMENT, nullable=False),
        sa.Column("value", NUMBER, nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("farm_id", "name", "recorded_ms", name=op.f("pk_figures")),
        sqlite_strict=True,
        sqlite_with_rowid=False,
    )
    op.create_table(
        "inbound",
        sa.Column("farm_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("inbound_id", sa.Text(), nullable=False),
        sa.Column("way", sa.Text(), nullable=False),
        sa.Column("phone", sa.Text(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("received_ms", MOMENT, nullable=False),
        sa.Column("person_id", sa.Text(), nullable=True),
        sa.Column("word", sa.Text(), nullable=True),
        sa.Column("happening_id", sa.Text(), nullable=True),
        sa.Column("result", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("farm_id", "inbound_id", name=op.f("pk_inbound")),
        sqlite_strict=True,
        sqlite_with_rowid=False,
    )
    with op.batch_alter_table("inbound", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_inbound_farm_id_received_ms"), ["farm_id", "received_ms"], unique=False
        )

    op.create_table(
        "links",
        sa.Column("farm_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("link_id", sa.Text(), nullable=False),
        sa.Column("person_id", sa.Text(), nullable=False),
        sa.Column("happening_id", sa.Text(), nullable=True),
        sa.Column("delivery_id", sa.Text(), nullable=False),
        sa.Column("made_ms", MOMENT, nullable=False),
        sa.Column("expires_ms", MOMENT, nullable=False),
        sa.Column("used_ms", MOMENT, nullable=True),
        sa.Column("used_for", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("farm_id", "link_id", name=op.f("pk_links")),
        sqlite_strict=True,
        sqlite_with_rowid=False,
    )
    with op.batch_alter_table("links", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_links_farm_id_delivery_id"), ["farm_id", "delivery_id"], unique=False)

    op.create_table(
        "rotas",
        sa.Column("farm_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("rota_id", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("recorded_ms", MOMENT, nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("farm_id", "rota_id", name=op.f("pk_rotas")),
        sqlite_strict=True,
        sqlite_with_rowid=False,
    )
    op.create_table(
        "silences",
        sa.Column("farm_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("scope", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("since_ms", MOMENT, nullable=False),
        sa.Column("noticed_ms", MOMENT, nullable=False),
        sa.Column("told_ms", MOMENT, nullable=True),
        sa.Column("ended_ms", MOMENT, nullable=True),
        sa.Column("happening_id", sa.Text(), nullable=True),
        sa.Column("facts", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("farm_id", "scope", "name", "since_ms", name=op.f("pk_silences")),
        sqlite_strict=True,
        sqlite_with_rowid=False,
    )
    with op.batch_alter_table("silences", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_silences_farm_id_ended_ms"), ["farm_id", "ended_ms"], unique=False)

    op.create_table(
        "swaps",
        sa.Column("farm_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("swap_id", sa.Text(), nullable=False),
        sa.Column("rota_id", sa.Text(), nullable=False),
        sa.Column("person_id", sa.Text(), nullable=False),
        sa.Column("from_ms", MOMENT, nullable=False),
        sa.Column("until_ms", MOMENT, nullable=False),
        sa.Column("ended_ms", MOMENT, nullable=True),
        sa.Column("recorded_ms", MOMENT, nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("farm_id", "swap_id", name=op.f("pk_swaps")),
        sqlite_strict=True,
        sqlite_with_rowid=False,
    )
    op.create_table(
        "trials",
        sa.Column("farm_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("trial_id", sa.Text(), nullable=False),
        sa.Column("person_id", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("at_ms", MOMENT, nullable=False),
        sa.Column("delivery_id", sa.Text(), nullable=False),
        sa.Column("answered_ms", MOMENT, nullable=True),
        sa.Column("answered_by", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("farm_id", "trial_id", name=op.f("pk_trials")),
        sqlite_strict=True,
        sqlite_with_rowid=False,
    )
    op.create_table(
        "truths",
        sa.Column("farm_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("happening_id", sa.Text(), nullable=False),
        sa.Column("recorded_ms", MOMENT, nullable=False),
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("harm", sa.Text(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("farm_id", "happening_id", "recorded_ms", name=op.f("pk_truths")),
        sqlite_strict=True,
        sqlite_with_rowid=False,
    )
    op.create_table(
        "turns",
        sa.Column("farm_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("rota_id", sa.Text(), nullable=False),
        sa.Column("turn_id", sa.Text(), nullable=False),
        sa.Column("person_id", sa.Text(), nullable=False),
        sa.Column("starts_local", sa.Text(), nullable=False),
        sa.Column("minutes", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("rrule", sa.Text(), nullable=False),
        sa.Column("recorded_ms", MOMENT, nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("farm_id", "rota_id", "turn_id", name=op.f("pk_turns")),
        sqlite_strict=True,
        sqlite_with_rowid=False,
    )
    with op.batch_alter_table("call_list", schema=None) as batch_op:
        batch_op.add_column(sa.Column("rota_id", sa.Text(), nullable=True))
        batch_op.alter_column("person_id", existing_type=sa.TEXT(), nullable=True)

    with op.batch_alter_table("deliveries", schema=None) as batch_op:
        batch_op.add_column(sa.Column("added_ms", MOMENT, server_default="0", nullable=False))
        batch_op.add_column(sa.Column("gateway_ref", sa.Text(), nullable=True))
        batch_op.add_column(sa.Column("receipt", sa.Text(), nullable=True))
        batch_op.add_column(sa.Column("receipt_ms", MOMENT, nullable=True))
        batch_op.create_index(
            batch_op.f("ix_deliveries_farm_id_gateway_ref"), ["farm_id", "gateway_ref"], unique=False
        )

    with op.batch_alter_table("happenings", schema=None) as batch_op:
        batch_op.add_column(sa.Column("part_of", sa.Text(), nullable=True))
        batch_op.alter_column("room_id", existing_type=sa.TEXT(), nullable=True)

    with op.batch_alter_table("people", schema=None) as batch_op:
        batch_op.add_column(
            sa.Column("manager", sa.Integer(), server_default="0", autoincrement=False, nullable=False)
        )
        batch_op.add_column(sa.Column("way", sa.Text(), server_default="text", nullable=False))
        batch_op.add_column(sa.Column("room_ids", sa.Text(), nullable=True))
        batch_op.add_column(sa.Column("hours_from_minute", sa.Integer(), autoincrement=False, nullable=True))
        batch_op.add_column(sa.Column("hours_to_minute", sa.Integer(), autoincrement=False, nullable=True))
        batch_op.add_column(
            sa.Column("morning_text", sa.Integer(), server_default="0", autoincrement=False, nullable=False)
        )
        batch_op.add_column(sa.Column("round_trip_ms", MOMENT, nullable=True))
        batch_op.add_column(sa.Column("rang_ms", MOMENT, nullable=True))
        batch_op.add_column(sa.Column("opted_out_ms", MOMENT, nullable=True))

    with op.batch_alter_table("probes", schema=None) as batch_op:
        batch_op.add_column(sa.Column("gateway", sa.Text(), nullable=True))
        batch_op.add_column(sa.Column("checked_ms", MOMENT, nullable=True))
        batch_op.add_column(sa.Column("checked_who", sa.Text(), nullable=True))
        batch_op.add_column(sa.Column("check_every_days", sa.Integer(), autoincrement=False, nullable=True))


def downgrade() -> None:
    op.execute("DELETE FROM happenings WHERE room_id IS NULL")
    op.execute("DELETE FROM call_list WHERE person_id IS NULL")
    with op.batch_alter_table("probes", schema=None) as batch_op:
        batch_op.drop_column("check_every_days")
        batch_op.drop_column("checked_who")
        batch_op.drop_column("checked_ms")
        batch_op.drop_column("gateway")

    with op.batch_alter_table("people", schema=None) as batch_op:
        batch_op.drop_column("opted_out_ms")
        batch_op.drop_column("rang_ms")
        batch_op.drop_column("round_trip_ms")
        batch_op.drop_column("morning_text")
        batch_op.drop_column("hours_to_minute")
        batch_op.drop_column("hours_from_minute")
        batch_op.drop_column("room_ids")
        batch_op.drop_column("way")
        batch_op.drop_column("manager")

    with op.batch_alter_table("happenings", schema=None) as batch_op:
        batch_op.alter_column("room_id", existing_type=sa.TEXT(), nullable=False)
        batch_op.drop_column("part_of")

    with op.batch_alter_table("deliveries", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_deliveries_farm_id_gateway_ref"))
        batch_op.drop_column("receipt_ms")
        batch_op.drop_column("receipt")
        batch_op.drop_column("gateway_ref")
        batch_op.drop_column("added_ms")

    with op.batch_alter_table("call_list", schema=None) as batch_op:
        batch_op.alter_column("person_id", existing_type=sa.TEXT(), nullable=False)
        batch_op.drop_column("rota_id")

    op.drop_table("turns")
    op.drop_table("truths")
    op.drop_table("trials")
    op.drop_table("swaps")
    with op.batch_alter_table("silences", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_silences_farm_id_ended_ms"))

    op.drop_table("silences")
    op.drop_table("rotas")
    with op.batch_alter_table("links", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_links_farm_id_delivery_id"))

    op.drop_table("links")
    with op.batch_alter_table("inbound", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_inbound_farm_id_received_ms"))

    op.drop_table("inbound")
    op.drop_table("figures")
    op.drop_table("absences")
