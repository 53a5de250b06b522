"""Indexes for tables that grow for years and are asked every second."""

from __future__ import annotations

from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

INDEXES = (
    ("happenings", "ended_ms"),
    ("happenings", "closed_ms"),
    ("happenings", "part_of"),
    ("deliveries", "person_id", "added_ms"),
    ("answers", "at_ms"),
)


def upgrade() -> None:
    for table, *columns in INDEXES:
        op.create_index(_name(table, columns), table, ["farm_id", *columns])


def downgrade() -> None:
    for table, *columns in reversed(INDEXES):
        op.drop_index(_name(table, columns), table_name=table)


def _name(table: str, columns: list[str]) -> str:
    return f"ix_{table}_farm_id_{'_'.join(columns)}"
