"""The command line: one verb to a job."""

from __future__ import annotations

import asyncio
import sys
from pathlib import Path
from typing import Annotated, TypeAlias

import typer

from service.errors import NotAllowed, SetupError, UserError

app = typer.Typer(help="Houseband keeps every growing house inside its climate band.", no_args_is_help=True)
profile = typer.Typer(help="Copy a species profile, look one over, add it to the farm.", no_args_is_help=True)
app.add_typer(profile, name="profile")

ProfileFile: TypeAlias = Annotated[
    Path, typer.Argument(exists=True, dir_okay=False, help="A profile file (TOML).")
]


@app.command()
def run() -> None:
    """Serve the farm: listen, record, judge, tell, show."""
    import uvicorn

    from service.app.running import running
    from service.log import log, set_up_log
    from service.settings import load_settings

    settings = load_settings()
    set_up_log(as_json=settings.log_as_json)

    async def serve() -> None:
        async with running(settings) as web:
            log.info("serving", farm=settings.farm, host=settings.listen_host, port=settings.listen_port)
            config = uvicorn.Config(
                web, host=settings.listen_host, port=settings.listen_port, lifespan="off", log_config=None
            )
            await uvicorn.Server(config).serve()

    asyncio.run(serve())


@app.command()
def migrate() -> None:
    """Bring the database to the schema of this version (``run`` does it too)."""
    from service.settings import load_settings
    from service.storage.database import Database
    from service.storage.schema import migrate as bring_up
    from service.storage.schema import revisions

    async def go() -> None:
        database = Database(load_settings().database_url)
        try:
            await bring_up(database)
            print(f"database is at {(await revisions(database))[0]}")
        finally:
            await database.close()

    asyncio.run(go())


@app.command(context_settings={"allow_extra_args": True, "ignore_unknown_options": True})
def demo(context: typer.Context) -> None:
    """Show the whole thing on an invented farm (invented data, a clock that runs 20 times as fast)."""
    from simulator.demo import main as demonstrate

    raise typer.Exit(demonstrate(context.args))


@app.command(name="check-setup")
def check_setup(
    broker_config: Annotated[
        Path | None, typer.Option(help="A mosquitto configuration file to read as well.")
    ] = None,
) -> None:
    """Say what in this farm's set-up would lose readings or texts."""
    from service.app.check_setup import check
    from service.settings import load_settings

    findings = asyncio.run(check(load_settings(), broker_config=broker_config))
    for finding in findings:
        print(finding.line)
    raise typer.Exit(1 if any(f.would_lose for f in findings) else 0)


@profile.command()
def check(file: ProfileFile) -> None:
    """Say how a profile file reads, and which of its stages wake nobody until somebody confirms them."""
    from service.reports.profile_check import profile_lines
    from service.watch.own_profiles import check_copied_figures, read_profile

    _, found = read_profile(file.read_bytes(), file=file.name)
    check_copied_figures(found, file=file.name)
    print("\n".join(profile_lines(found)))


@profile.command()
def copy(
    name: Annotated[str, typer.Argument(help="A profile that ships, such as shiitake.")],
    new: Annotated[str, typer.Argument(help="What the copy is called: small letters, digits and underscores.")],
    *,
    strain: Annotated[str | None, typer.Option(help="The strain it is for; stands in its label.")] = None,
    label: Annotated[str | None, typer.Option(help="Its whole label instead.")] = None,
    text_name: Annotated[str | None, typer.Option(help="Its name in texts, at most 10 characters.")] = None,
    to: Annotated[Path | None, typer.Option(help="A file that is not there yet; printed, if absent.")] = None,
) -> None:
    """Write a copy of a shipped profile, to be edited: every comment and source stays."""
    from service.watch.own_profiles import copy_of_shipped

    text = copy_of_shipped(name, new, strain=strain, label=label, text_name=text_name)
    if to is None:
        print(text, end="")
        return
    try:
        with to.open("x", encoding="utf-8") as file:
            file.write(text)
    except OSError as error:
        raise NotAllowed(f"{to}: {error.strerror}") from error
    print(f"{to} is written; edit it, then: houseband profile check {to}")


@profile.command()
def add(file: ProfileFile, *, who: Annotated[str, typer.Option(help="Who adds it.")]) -> None:
    """Add a profile to the farm, or the next version of one; no version ever changes."""
    from service.app.adding_profiles import add_file
    from service.settings import load_settings

    for line in asyncio.run(add_file(load_settings(), file.read_bytes(), file=file.name, who=who)):
        print(line)


@app.command()
def replay(
    *,
    room: Annotated[str | None, typer.Option(help="One room by its id; all of them, if absent.")] = None,
    begin: Annotated[
        str | None, typer.Option("--from", help="A day (2026-11-24), or a moment with its offset; 30 days back.")
    ] = None,
    end: Annotated[str | None, typer.Option("--to", help="The same; now, if absent.")] = None,
    profile_file: Annotated[
        Path | None, typer.Option(help="A profile file that stands in for the profile of its name.")
    ] = None,
    limit: Annotated[list[str] | None, typer.Option(help="Another text limit, like humidity-low=80.")] = None,
    wait: Annotated[list[str] | None, typer.Option(help="Another wait in minutes, like humidity-low=12.")] = None,
) -> None:
    """Go through stored history again, with other limits or waits, beside what was said at the time."""
    from service.app.replaying import Asked, replay_lines
    from service.app.running import make_clock
    from service.errors import NotFound, NotUnderstood
    from service.settings import load_settings
    from service.storage.database import Database

    settings = load_settings()
    asked = Asked(room=room, begin=begin, end=end, profile_file=profile_file, limits=limit or (), waits=wait or ())

    async def go() -> list[str]:
        database = Database(settings.database_url)
        try:
            return await replay_lines(database, settings.farm, asked, now_ms=make_clock(settings).now_ms())
        finally:
            await database.close()

    try:
        lines = asyncio.run(go())
    except (NotFound, NotUnderstood) as error:
        print(error, file=sys.stderr)
        raise typer.Exit(2) from error
    print("\n".join(lines))


def main() -> None:
    """Run a verb; what cannot work or cannot be done ends with one line, not with a traceback."""
    try:
        app()
    except UserError as error:
        print(error, file=sys.stderr)
        sys.exit(1)
    except SetupError as error:
        print(f"cannot start: {error}", file=sys.stderr)
        sys.exit(2)


if __name__ == "__main__":
    main()
