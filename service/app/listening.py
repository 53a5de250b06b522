"""The line from the broker, from the settings."""

from __future__ import annotations

from uuid import uuid4

from service.clock import Clock
from service.errors import SetupError
from service.ingest.loop import Recording
from service.ingest.mqtt import Broker, Connection, Listener
from service.settings import Settings
from service.storage import machine
from service.storage.database import Database
from service.watch.after_recording import AfterRecording
from service.watch.horizon import Horizon
from service.wire.sources import Source, parse_sources
from service.wire.topics import marker_topic, subscriptions


async def make_recording(
    settings: Settings, *, database: Database, farm_id: int, clock: Clock, horizon: Horizon, after: AfterRecording
) -> Recording | None:
    """The loop from the broker to the record; ``None`` on a farm without a broker.

    Raises:
        SetupError: the sources file cannot be used.
    """
    if settings.broker_host is None:
        return None
    sources = read_sources(settings)
    broker = await _broker(settings, settings.broker_host, database, farm_id)
    connection = Connection(
        broker,
        subscriptions=subscriptions(settings.topic_prefix, settings.farm, (s.subscription for s in sources)),
        marker_topic=marker_topic(settings.topic_prefix, settings.farm, broker.client_id),
        clock=clock,
        listener=Listener(
            connected=lambda: horizon.connected(clock.now_ms()), lost=lambda: horizon.lost(clock.now_ms())
        ),
    )
    return Recording(
        connection=connection,
        database=database,
        farm_id=farm_id,
        prefix=settings.topic_prefix,
        farm=settings.farm,
        sources=sources,
        horizon=horizon,
        recorded=after.note,
    )


async def _broker(settings: Settings, host: str, database: Database, farm_id: int) -> Broker:
    """Who we are to the broker. The random name is kept, so that what queued up for us finds us again."""
    async with database.write() as connection:
        fresh = f"houseband-{uuid4().hex[:12]}"
        client_id = await machine.identity(connection, farm_id, "broker client", fresh)
    password = settings.broker_password
    return Broker(
        host=host,
        port=settings.broker_port,
        client_id=client_id,
        username=settings.broker_username,
        password=None if password is None else password.get_secret_value(),
        tls=settings.broker_tls,
    )


def read_sources(settings: Settings) -> tuple[Source, ...]:
    """The mapped devices, if a sources file is set.

    Raises:
        SetupError: the file is missing or wrong; the message names file and key.
    """
    if settings.sources_file is None:
        return ()
    try:
        text = settings.sources_file.read_text(encoding="utf-8")
    except OSError as error:
        raise SetupError(f"sources_file {settings.sources_file}: {error.strerror}") from error
    return parse_sources(text, file=str(settings.sources_file))
