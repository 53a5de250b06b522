"""What in a farm's set-up would lose readings or texts. Tries things out rather than reading what should be.

A finding is one line for the administrator; ``would_lose`` marks those that cost data or sleep.
"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncGenerator
from pathlib import Path

from service.app.broker_trial import TrialFailed, try_broker
from service.app.check_answers import check_answers
from service.app.check_ways import check_ways
from service.app.finding import Finding
from service.app.listening import read_sources
from service.errors import PassingError, SetupError
from service.settings import Settings
from service.storage.database import Database
from service.storage.schema import durability_doubts, revisions


async def check(settings: Settings, *, broker_config: Path | None = None) -> list[Finding]:
    """Look at everything that the settings name."""
    findings = [f async for f in _database(settings)]
    findings.append(_sources(settings))
    findings += [f async for f in _broker(settings)]
    if broker_config is not None:
        findings += _broker_file(broker_config)
    findings += [f async for f in check_ways(settings)]
    return [*findings, *check_answers(settings)]


async def _database(settings: Settings) -> AsyncGenerator[Finding]:
    database = Database(settings.database_url)
    try:
        present, needed = await revisions(database)
        here = "not set up yet; `houseband run` or `houseband migrate` does it"
        yield Finding(subject="database", says=here if present is None else f"at revision {present} of {needed}")
        for doubt in await durability_doubts(database):
            yield Finding(subject="database", says=doubt, would_lose=True)
    except (PassingError, OSError) as error:
        yield Finding(subject="database", says=f"cannot be used: {error.__cause__ or error}", would_lose=True)
    finally:
        await database.close()


def _sources(settings: Settings) -> Finding:
    try:
        sources = read_sources(settings)
    except SetupError as error:
        return Finding(subject="sources file", says=str(error), would_lose=True)
    if settings.sources_file is None:
        return Finding(subject="sources file", says="none; only SenML and bare numbers are understood")
    return Finding(subject="sources file", says=f"{len(sources)} kinds of device")


async def _broker(settings: Settings) -> AsyncGenerator[Finding]:
    if settings.broker_host is None:
        yield Finding(subject="broker", says="none set; readings come by HTTP only")
        return
    where = f"{settings.broker_host}:{settings.broker_port}"
    try:
        trial = await asyncio.to_thread(try_broker, settings)
    except TrialFailed as error:
        yield Finding(subject="broker", says=f"{where}: {error}", would_lose=True)
        return
    says = f"{where} kept {trial.kept} of {trial.sent} messages for an absent client"
    yield Finding(subject="broker", says=says, would_lose=trial.kept < trial.sent)


def _broker_file(file: Path) -> list[Finding]:
    """What a mosquitto configuration says about a power cut; that cannot be tried out from here."""
    try:
        lines = file.read_text(encoding="utf-8").splitlines()
    except OSError as error:
        return [Finding(subject=str(file), says=str(error.strerror), would_lose=True)]
    said = dict(line.split(maxsplit=1) for line in lines if len(line.split(maxsplit=1)) == 2)  # noqa: PLR2004
    wanted = {"persistence": "true", "autosave_on_changes": "true", "autosave_interval": "1"}
    missing = [f"{name} {value}" for name, value in wanted.items() if said.get(name) != value]
    if missing:
        return [
            Finding(
                subject=str(file),
                says=f"a power cut loses readings that were accepted; set {', '.join(missing)}",
                would_lose=True,
            )
        ]
    return [Finding(subject=str(file), says="keeps what waits on the disk")]
