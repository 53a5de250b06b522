"""What the service does by itself, and how often."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

from rules.model import DAY_MS, Instant
from service.app.outside_watch import OutsideWatch
from service.notifications.address import Address
from service.notifications.clock_set_back import ClockSetBack
from service.notifications.deliver import Deliver
from service.notifications.digest import Digest
from service.notifications.modem_inbox import ModemInbox
from service.notifications.polling import TextPolling
from service.notifications.trials import Trials
from service.scheduler.ticks import Tick
from service.storage import machine, readings
from service.storage.schema import make_room_for_readings
from service.watch.alive import TICK
from service.watch.desk import Desk
from service.watch.farm_watch import FarmWatch
from service.watch.going_watch import GoingWatch
from service.watch.silence_watch import PULSE, SilenceWatch
from service.watch.usual_watch import UsualWatch

KEEP_REJECTED_MS: Final = 30 * DAY_MS
OUTSIDE_EVERY_S: Final = 1.0
GOING_EVERY_S: Final = 5.0
TELL_EVERY_S: Final = 1.0
FETCH_EVERY_S: Final = 1.0
"""How often it is asked whether it is time to fetch."""
MODEM_EVERY_S: Final = 5.0
SILENCE_EVERY_S: Final = 5.0
PULSE_EVERY_S: Final = 10.0
DIGEST_EVERY_S: Final = 20.0
USUAL_EVERY_S: Final = 60.0
TIDY_EVERY_S: Final = 3600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Jobs:
    """The regular work of one running service."""

    desk: Desk
    farm: FarmWatch
    address: Address
    going: GoingWatch
    deliver: Deliver
    digest: Digest
    usual: UsualWatch
    trials: Trials
    silence: SilenceWatch
    outside: OutsideWatch
    set_back: ClockSetBack
    ran: dict[str, tuple[Instant, float]] = field(default_factory=dict)
    """When each tick last went through, and its interval."""
    polling: TextPolling | None = None
    """Fetches answers, where the gateway cannot call us."""
    inbox: ModemInbox | None = None
    """Reads answers from the modem, where there is one."""

    def ticks(self, *, sweep_every_s: float) -> list[Tick]:
        """All of it, as ticks."""
        fetching = (
            [] if self.polling is None else [Tick(name="fetch", every_s=FETCH_EVERY_S, ask=self.polling.fetch)]
        )
        reading = [] if self.inbox is None else [Tick(name="modem", every_s=MODEM_EVERY_S, ask=self.inbox.fetch)]
        ticks = [
            *fetching,
            *reading,
            Tick(name="sweep", every_s=sweep_every_s, ask=self.desk.sweep.all_rooms),
            Tick(name="silence", every_s=min(SILENCE_EVERY_S, sweep_every_s), ask=self.silence.look),
            Tick(name="going", every_s=GOING_EVERY_S, ask=self.going.all_due),
            Tick(name="tell", every_s=TELL_EVERY_S, ask=self.tell),
            Tick(name="pulse", every_s=PULSE_EVERY_S, ask=self.beat),
            Tick(name="digest", every_s=DIGEST_EVERY_S, ask=self.digest.all_due),
            Tick(name="trials", every_s=DIGEST_EVERY_S, ask=self.trials.all_due),
            Tick(name="usual", every_s=USUAL_EVERY_S, ask=self.usual.all_due),
            Tick(name="tidy", every_s=TIDY_EVERY_S, ask=self.tidy),
            Tick(name="outside", every_s=OUTSIDE_EVERY_S, ask=self.outside.all_due),
        ]
        started_ms = self.desk.clock.now_ms()
        self.ran.update((tick.name, (started_ms, tick.every_s)) for tick in ticks)
        return ticks

    def went_through(self, name: str) -> None:
        """A tick did what it is for."""
        self.ran[name] = (self.desk.clock.now_ms(), self.ran[name][1])

    async def tell(self) -> None:
        """Bring notices to people."""
        await self.set_back.look()
        await self.farm.all_due()
        await self.address.all_notices()
        await self.deliver.all_due()

    async def beat(self) -> None:
        """Write down that we are alive, and when each regular task last was."""
        now_ms, farm_id = self.desk.clock.now_ms(), self.desk.farm_id
        async with self.desk.database.write() as connection:
            await machine.beat(connection, farm_id, PULSE, now_ms, "")
            for name, (at_ms, every_s) in self.ran.items():
                last_ms = now_ms if name == "pulse" else at_ms
                await machine.beat(connection, farm_id, f"{TICK}{name}", last_ms, f"{every_s:g}")

    async def tidy(self) -> None:
        """Drop what has been kept long enough, and make room for the months to come."""
        now_ms = self.desk.clock.now_ms()
        async with self.desk.database.write() as connection:
            await readings.forget_rejected(connection, self.desk.farm_id, now_ms - KEEP_REJECTED_MS)
            await make_room_for_readings(connection, now_ms)
