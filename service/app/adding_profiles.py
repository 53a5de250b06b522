"""A profile file added to the farm from the command line, whether or not the service is running."""

from __future__ import annotations

from service.api.fields import one_line
from service.app.farm_row import farm_row
from service.app.running import make_clock
from service.errors import NotUnderstood
from service.reports.profile_check import waiting_stages
from service.settings import Settings
from service.storage.database import Connection, Database
from service.storage.profile_versions import batches_in_rooms, confirmations_of_version
from service.storage.schema import migrate
from service.storage.turn import take_turn
from service.watch.catalogue import Catalogue
from service.watch.own_profiles import Added, add_profile


async def add_file(settings: Settings, body: bytes, *, file: str, who: str) -> list[str]:
    """Add the profile that a file holds, and say what came of it and what is left to do.

    Raises:
        NotUnderstood, NotAllowed: the profile cannot be added; nothing was written.
    """
    try:
        named = one_line(who)
    except ValueError as error:
        raise NotUnderstood(f"--who {error}") from error
    now_ms = make_clock(settings).now_ms()
    database = Database(settings.database_url)
    try:
        await migrate(database)
        catalogue = Catalogue((await farm_row(database, settings.farm, now_ms))["farm_id"])
        async with database.write() as connection:
            await take_turn(connection, catalogue.farm_id)
            added = await add_profile(connection, catalogue, body, file=file, who=named, now_ms=now_ms)
            return await _lines(connection, catalogue.farm_id, added)
    finally:
        await database.close()


async def _lines(connection: Connection, farm_id: int, added: Added) -> list[str]:
    name, version = added.profile.name, added.profile.version
    lines = [f"{name} version {version} is {'added' if added.is_new else 'there already, word for word'}."]
    stood = {row["stage"] for row in await confirmations_of_version(connection, farm_id, name, version)}
    waiting = [stage for stage in waiting_stages(added.profile) if stage not in stood]
    if waiting:
        lines.append(
            f"These stages wake nobody until somebody confirms their figures: {', '.join(waiting)} "
            f"(POST /api/profiles/{name}/confirmations)."
        )
    batches = await batches_in_rooms(connection, farm_id, name)
    older = [f"{row['batch_id']} ({row['version']})" for row in batches if row["version"] < version]
    if older:
        lines.append(f"Batches that keep an older version: {', '.join(older)}.")
    return lines
