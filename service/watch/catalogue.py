"""The profiles of the farm: shipped files copied in once, then read from the database.

A profile version never changes once it is in the database, so a parsed one can be kept in memory for good.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from functools import cache, lru_cache
from importlib.resources import files

from rules.model import Instant
from rules.profile import Profile, Stage
from rules.profile_parser import parse_profile
from service.errors import NotFound
from service.storage import crops
from service.storage.database import Connection
from service.storage.rows import Record

SHIPPED_BY = "shipped with Houseband"


class Catalogue:
    """Parsed profiles by (name, version)."""

    def __init__(self, farm_id: int) -> None:
        self.farm_id = farm_id
        self._parsed: dict[tuple[str, int], Profile] = {}

    async def get(self, connection: Connection, name: str, version: int | None = None) -> Profile:
        """One profile, the newest version unless named.

        Raises:
            NotFound: the farm has none of that name and version.
        """
        if version is not None and (name, version) in self._parsed:
            return self._parsed[name, version]
        row = await crops.profile(connection, self.farm_id, name, version)
        key = (row["profile"], row["version"])
        if key not in self._parsed:
            self._parsed[key] = _read(row["body"], f"{key[0]} version {key[1]}")
        return self._parsed[key]

    async def get_all(
        self, connection: Connection, keys: Iterable[tuple[str, int]]
    ) -> dict[tuple[str, int], Profile]:
        """Several profiles at once."""
        return {key: await self.get(connection, *key) for key in set(keys)}

    async def newest(self, connection: Connection) -> list[Profile]:
        """The newest version of every profile."""
        rows = await crops.all_profiles(connection, self.farm_id)
        return [await self.get(connection, row["profile"], row["version"]) for row in rows]


@lru_cache(maxsize=500)
def _read(body: str, file: str) -> Profile:
    """A profile as parsed; the same text is parsed once, as it means the same for ever."""
    return parse_profile(body, file=file)


@cache
def shipped_files() -> dict[str, str]:
    """The text of every profile that ships, by its name."""
    found = sorted(files("rules").joinpath("profiles").iterdir(), key=lambda file: file.name)
    return {
        file.name.removesuffix(".toml"): file.read_text(encoding="utf-8")
        for file in found
        if file.name.endswith(".toml")
    }


async def copy_shipped(connection: Connection, farm_id: int, now_ms: Instant) -> None:
    """Copy the shipped profiles into the farm's own, with a hash; versions that are there already stay.

    A profile that the farm had under a name of its own, before one of that name shipped, stays the farm's.
    """
    own = await crops.profiles_not_of(connection, farm_id, SHIPPED_BY)
    bodies = {name: body for name, body in shipped_files().items() if name not in own}
    shipped = [(body, _read(body, f"{name}.toml")) for name, body in bodies.items()]
    rows = [
        {
            "profile": profile.name,
            "version": profile.version,
            "body": body,
            "body_sha256": hashlib.sha256(body.encode()).hexdigest(),
            "copied_from": None,
            "recorded_ms": now_ms,
            "who": SHIPPED_BY,
        }
        for body, profile in shipped
    ]
    await crops.add_profiles(connection, farm_id, rows)


def is_own(versions: Iterable[Record]) -> bool:
    """True for a profile that somebody on the farm added."""
    return any(row["who"] != SHIPPED_BY for row in versions)


def stage_of(profile: Profile, name: str) -> Stage:
    """The stage of a profile.

    Raises:
        NotFound: it has no such stage; the message lists those it has.
    """
    try:
        return profile.stage(name)
    except KeyError as error:
        raise NotFound(str(error.args[0])) from error
