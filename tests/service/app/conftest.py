"""The dry night of the invented farm, for what is asked about it at the command line."""

from __future__ import annotations

from tests.support.farm_fixtures import dry_night, dry_night_file, farm

__all__ = ["dry_night", "dry_night_file", "farm"]
