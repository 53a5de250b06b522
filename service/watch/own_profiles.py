"""Profiles of the farm's own: added under a person's name, version by version, none of which ever changes.

Adding is not confirming. A stage whose band was not read in a source wakes nobody until somebody stands for it,
and that may be another person than the one who typed it. Two things keep that honest:

* a stage that says the same in the next version keeps whoever stood for it, so that a change to one stage does not
  silence the others;
* an edited figure may not go on naming the source of the figure it replaced: it would pass for read.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

from rules.model import Instant
from rules.profile import Profile, ProfileError
from rules.profile_copy import OwnName, copied_text, unchanged_stages, wrongly_sourced
from rules.profile_parser import parse_profile
from service.errors import NotAllowed, NotFound, NotUnderstood
from service.storage import crops
from service.storage.database import Connection
from service.storage.profile_versions import confirmations_of_version, versions_of
from service.watch.catalogue import Catalogue, is_own, shipped_files


@dataclass(frozen=True, slots=True, kw_only=True)
class Added:
    """What came of adding a profile."""

    profile: Profile
    is_new: bool
    """False: this very text was there already."""


def copy_of_shipped(
    name: str, new: str, *, strain: str | None = None, label: str | None = None, text_name: str | None = None
) -> str:
    """The text of a copy of a profile that ships, to be edited.

    Raises:
        NotFound: none of that name ships.
        NotUnderstood: the copy cannot be called that.
    """
    shipped = shipped_files()
    if name not in shipped:
        raise NotFound(f"no profile {name!r} ships; there are {', '.join(sorted(shipped))}")
    was = parse_profile(shipped[name], file=f"{name}.toml")
    own = OwnName(name=new, label=label or f"{was.label}, {strain or new}", text_name=text_name)
    try:
        return copied_text(shipped[name], file=f"{name}.toml", own=own)
    except ProfileError as error:
        raise NotUnderstood(str(error)) from error


def read_profile(body: bytes, *, file: str) -> tuple[str, Profile]:
    """The text and the profile in it.

    Raises:
        NotUnderstood: it cannot be used; the words name file, stage and key.
    """
    try:
        text = body.decode()
        return text, parse_profile(text, file=file)
    except UnicodeDecodeError as error:
        raise NotUnderstood(f"{file}: is not UTF-8 text") from error
    except ProfileError as error:
        raise NotUnderstood(str(error)) from error


def check_copied_figures(profile: Profile, *, file: str) -> None:
    """Hold a first copy of a shipped profile against it, as adding does.

    Raises:
        NotUnderstood: a changed figure names the source of the figure it replaced.
    """
    if profile.copied_from is None or profile.version != 1:
        return
    name, version = profile.copied_from
    if name in shipped_files():
        origin = parse_profile(shipped_files()[name], file=f"{name}.toml")
        if origin.version == version:
            _refuse_wrong_sources(origin, profile, file)


async def add_profile(
    connection: Connection, catalogue: Catalogue, body: bytes, *, file: str, who: str, now_ms: Instant
) -> Added:
    """Keep a new profile, or the next version of one, within the caller's transaction.

    Raises:
        NotUnderstood: the text cannot be used, or says of a source what that does not say.
        NotAllowed: the version is there with other content, is not the next one, or the name is one that ships.
    """
    text, profile = read_profile(body, file=file)
    sha256 = hashlib.sha256(text.encode()).hexdigest()
    versions = await versions_of(connection, catalogue.farm_id, profile.name)
    if any((row["version"], row["body_sha256"]) == (profile.version, sha256) for row in versions):
        return Added(profile=profile, is_new=False)
    if profile.name in shipped_files() and not is_own(versions):
        raise NotAllowed(
            f"{profile.name!r} ships with Houseband and stays as it is; copy it under a name of your own"
        )
    _check_version(profile, [row["version"] for row in versions])
    before = await catalogue.get(connection, profile.name) if versions else None
    await _check_sources(connection, catalogue, profile, before, file)
    values = {
        "profile": profile.name,
        "version": profile.version,
        "body": text,
        "body_sha256": sha256,
        "copied_from": None if profile.copied_from is None else "{} version {}".format(*profile.copied_from),
        "recorded_ms": now_ms,
        "who": who,
    }
    await crops.add_profiles(connection, catalogue.farm_id, [values])
    if before is not None:
        await _keep_confirmations(connection, catalogue.farm_id, before, profile)
    return Added(profile=profile, is_new=True)


def _check_version(profile: Profile, there: list[int]) -> None:
    name, version = profile.name, profile.version
    if version in there:
        raise NotAllowed(
            f"{name!r} version {version} is there already, with other content, and a version never changes; "
            f"the next is {there[-1] + 1}"
        )
    following = there[-1] + 1 if there else 1
    if version != following:
        raise NotAllowed(f"the next version of {name!r} is {following}, not {version}")


async def _check_sources(
    connection: Connection, catalogue: Catalogue, profile: Profile, before: Profile | None, file: str
) -> None:
    origin = before
    if origin is None and profile.copied_from is not None:
        try:
            origin = await catalogue.get(connection, *profile.copied_from)
        except NotFound as error:
            raise NotUnderstood(f"{file}: copied_from: {error}") from error
    if origin is not None:
        _refuse_wrong_sources(origin, profile, file)


def _refuse_wrong_sources(origin: Profile, profile: Profile, file: str) -> None:
    wrong = wrongly_sourced(origin, profile)
    if wrong:
        raise NotUnderstood(
            f'{file}: {wrong[0]}; name where you read it, or give it basis = "judgement" and a note'
            + (f" (and {len(wrong) - 1} more like it)" if len(wrong) > 1 else "")
        )


async def _keep_confirmations(connection: Connection, farm_id: int, before: Profile, after: Profile) -> None:
    same = unchanged_stages(before, after)
    for row in await confirmations_of_version(connection, farm_id, before.name, before.version):
        if row["stage"] in same:
            await crops.confirm(connection, farm_id, {**row, "version": after.version})
