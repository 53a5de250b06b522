"""The command line: one verb to a job."""

from __future__ import annotations

import asyncio
import sys
from pathlib import Path
from typing import Annotated

import typer

from service.errors import SetupError

app = typer.Typer(help="Houseband keeps every growing house inside its climate band.", no_args_is_help=True)


@app.command()
def run() -> None:
    """Serve the farm: listen, record, judge, tell, show."""
    import uvicorn

    from service.app.running import running
    from service.log import set_up_log
    from service.settings import load_settings

    settings = load_settings()
    set_up_log(as_json=settings.log_as_json)

    async def serve() -> None:
        async with running(settings) as web:
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


def main() -> None:
    """Run a verb; a set-up that cannot work ends with one line, not with a traceback."""
    try:
        app()
    except SetupError as error:
        print(f"cannot start: {error}", file=sys.stderr)
        sys.exit(2)


if __name__ == "__main__":
    main()
