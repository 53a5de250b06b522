"""A database with the invented farm on it, for every test of the reports."""

from __future__ import annotations

from tests.support.farm_fixtures import database, dry_night, dry_night_file, farm

__all__ = ["database", "dry_night", "dry_night_file", "farm"]
