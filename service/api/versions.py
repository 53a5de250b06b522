"""Which Houseband this is."""

from __future__ import annotations

from importlib.metadata import PackageNotFoundError, version


def houseband_version() -> str:
    """The version installed; a working copy that is not installed says so."""
    try:
        return version("houseband")
    except PackageNotFoundError:
        return "not installed"
