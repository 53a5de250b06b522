"""The whole service, put together and running until its block ends."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncGenerator, Coroutine
from contextlib import AsyncExitStack, asynccontextmanager
from typing import Any

from fastapi import FastAPI
from starlette.middleware.trustedhost import TrustedHostMiddleware

from rules.model import FIRST_INSTANT
from service.api.routes import add_api
from service.app.farm_row import farm_row
from service.app.jobs import Jobs
from service.app.listening import make_recording
from service.app.outside_watch import outside_watch
from service.app.texts_in import hosts, modem_inbox, text_hook, text_polling, texts_come_in
from service.app.ways import make_carriers, make_modem, set_up
from service.clock import Clock, ScaledClock, SystemClock
from service.log import log
from service.notifications.address import Address
from service.notifications.clock_set_back import ClockSetBack
from service.notifications.deliver import Deliver
from service.notifications.digest import Digest
from service.notifications.routing import Way
from service.notifications.trials import Trials
from service.notifications.writing import Writing
from service.scheduler.ticks import start_ticks
from service.settings import Settings
from service.storage.database import Database
from service.storage.only_one import only_one
from service.storage.schema import migrate
from service.watch.after_recording import AfterRecording
from service.watch.catalogue import Catalogue
from service.watch.desk import Desk
from service.watch.facts_now import FactsNow
from service.watch.farm_watch import FarmWatch
from service.watch.going_watch import GoingWatch
from service.watch.horizon import Horizon
from service.watch.judge import Judge
from service.watch.silence_watch import SilenceWatch
from service.watch.sweep import Sweep
from service.watch.trials import TrialSender
from service.watch.usual_watch import UsualWatch
from service.web.pages import add_pages


def make_web(known_as: list[str]) -> FastAPI:
    """The API and the pages, without the parts they work with (``app.state.desk``)."""
    app = FastAPI(title="Houseband", docs_url=None, openapi_url="/api/openapi.json", redoc_url=None)
    # A page from elsewhere must not reach us by giving this machine another name.
    app.add_middleware(TrustedHostMiddleware, allowed_hosts=["127.0.0.1", "localhost", "[::1]", *known_as])
    add_api(app)
    add_pages(app)
    return app


def make_clock(settings: Settings) -> Clock:
    """The machine's clock, unless a demonstration asks for a faster one."""
    if settings.clock_factor == 1.0:
        return SystemClock()
    return ScaledClock(
        anchor_wall_ms=settings.clock_anchor_wall_ms,
        anchor_farm_ms=settings.clock_anchor_farm_ms,
        factor=settings.clock_factor,
    )


@asynccontextmanager
async def running(settings: Settings) -> AsyncGenerator[FastAPI]:
    """The whole service, running, until the block ends.

    Raises:
        SetupError: something is missing or wrong; said before anything is served.
    """
    async with AsyncExitStack() as stack:
        app = make_web(hosts(settings))
        app.state.text_hook = text_hook(settings.text_inbound)
        clock = make_clock(settings)
        database = Database(settings.database_url)
        stack.push_async_callback(database.close)
        await migrate(database)
        farm = await farm_row(database, settings.farm, clock.now_ms())
        await stack.enter_async_context(only_one(database, farm["farm_id"]))
        app.state.desk = await _listen(settings, database, farm, clock, stack=stack)
        await _tell(settings, app.state.desk, stack=stack)
        yield app


async def _listen(
    settings: Settings, database: Database, farm: dict[str, Any], clock: Clock, *, stack: AsyncExitStack
) -> Desk:
    """Record and judge."""
    horizon = Horizon(listens=settings.broker_host is not None)
    horizon.start_deaf(FIRST_INSTANT)
    catalogue = Catalogue(farm["farm_id"])
    judge = Judge(database, farm, catalogue)
    sweep = Sweep(judge=judge, horizon=horizon, clock=clock, last_ms=clock.now_ms())
    after = AfterRecording(sweep)
    recording = await make_recording(
        settings, database=database, farm_id=farm["farm_id"], clock=clock, horizon=horizon, after=after
    )
    _run(stack, after.run())
    if recording is not None:
        recording.connection.start()
        stack.callback(recording.connection.stop)
        _run(stack, recording.run())
    return Desk(
        database=database,
        farm=farm,
        clock=clock,
        catalogue=catalogue,
        horizon=horizon,
        sweep=sweep,
        recorded=after.note,
        broker_heard_ms=lambda: None if recording is None else recording.connection.last_heard_ms,
        messages_waiting=lambda: 0 if recording is None else recording.connection.waiting,
        ways=frozenset(way.value for way in set_up(settings)),
        answers_by_text=texts_come_in(settings),
    )


def _weekly_tests(desk: Desk) -> Trials:
    sender = TrialSender(farm=desk.farm, set_up=desk.ways, answers_by_text=desk.answers_by_text)
    return Trials(database=desk.database, farm=desk.farm, clock=desk.clock, sender=sender)


async def _silence(desk: Desk) -> SilenceWatch:
    silence = SilenceWatch(
        database=desk.database,
        farm=desk.farm,
        clock=desk.clock,
        horizon=desk.horizon,
        catalogue=desk.catalogue,
    )
    await silence.begin()
    return silence


async def _tell(settings: Settings, desk: Desk, *, stack: AsyncExitStack) -> None:
    """Address, deliver, and everything else that happens by itself."""
    database, farm, clock = desk.database, desk.farm, desk.clock
    modem = make_modem(settings)
    carriers = await make_carriers(settings, stack, modem=modem)
    by_text = texts_come_in(settings)
    now = FactsNow(farm=farm, judge=desk.sweep.judge)
    writing = Writing(farm=farm, answers_by_text=by_text, public_url=settings.public_url, now_in=now.of)
    deliver = Deliver(database=database, farm=farm, clock=clock, carriers=carriers, writing=writing)
    await deliver.release()
    stack.push_async_callback(deliver.stop)
    silence = await _silence(desk)
    jobs = Jobs(
        desk=desk,
        farm=FarmWatch(database=database, farm=farm, clock=clock),
        address=Address(
            database=database, farm=farm, clock=clock, ways=frozenset(carriers), answers_by_text=by_text
        ),
        going=GoingWatch(database=database, farm=farm, clock=clock, now=now),
        deliver=deliver,
        digest=Digest(
            database=database,
            farm=farm,
            clock=clock,
            carrier=carriers.get(Way.MAIL),
            catalogue=desk.catalogue,
            pages=settings.public_url,
        ),
        usual=UsualWatch(database=database, farm=farm, clock=clock),
        trials=_weekly_tests(desk),
        silence=silence,
        outside=await outside_watch(settings, desk, stack),
        set_back=ClockSetBack(database=database, farm=farm, clock=clock),
        polling=await text_polling(settings, desk, stack),
        inbox=modem_inbox(settings, desk, modem),
    )
    scheduler = start_ticks(jobs.ticks(sweep_every_s=settings.sweep_every_s), done=jobs.went_through)
    stack.callback(scheduler.shutdown, wait=False)


def _run(stack: AsyncExitStack, work: Coroutine[Any, Any, None]) -> None:
    """Run ``work`` beside everything else until the service stops. It must not end by itself."""
    task = asyncio.create_task(work)

    def ended(done: asyncio.Task[None]) -> None:
        if not done.cancelled():
            log.critical("a part of the service died", cause=repr(done.exception()))

    async def stop() -> None:
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)

    task.add_done_callback(ended)
    stack.push_async_callback(stop)
