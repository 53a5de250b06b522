"""Answers that come to the modem's own number: read, taken, and only then deleted.

Between taking and deleting we may die; the same text is then read again, and is known by its sender, its words and
the moment at which the network took it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from hashlib import sha256
from typing import Final

from rules.model import Instant
from service.log import log
from service.messages import Reason, Rejected
from service.notifications.carriers.modem import Modem, Received
from service.notifications.carriers.text_pdu import moment_of
from service.watch.desk import Desk
from service.watch.texts_in import TEXTS, keep_rejected, take_text
from service.wire.text_hook import TextCame

WAY: Final = "modem"


@dataclass(slots=True, kw_only=True)
class ModemInbox:
    """Empties the memory of one modem."""

    desk: Desk
    modem: Modem
    failed: bool = field(default=False, init=False)
    """Whether the modem could not be asked the last time; said in the log when it changes."""

    async def fetch(self) -> None:
        """Take everything that came.

        Raises:
            PassingError: our database cannot be used just now; the modem keeps what it has.
        """
        try:
            came = await self.modem.received()
            for one in came:
                await self._take(one)
            if came:
                await self.modem.forget(one.index for one in came)
        except OSError as trouble:
            self._note(str(trouble.strerror or trouble) or "no answer in time")
        else:
            self._note("")

    async def _take(self, one: Received) -> None:
        now_ms = self.desk.clock.now_ms()
        why = await self._rejected(one, now_ms)
        if why is not None:
            await keep_rejected(self.desk, TEXTS, one.text.encode(), (why,))

    async def _rejected(self, one: Received, now_ms: Instant) -> Rejected | None:
        if one.phone is None:
            return Rejected(reason=Reason.NOT_TEXT, detail="the modem's digits are no text")
        natural = sha256(f"{one.phone}\n{one.text}\n{one.stamp}".encode()).hexdigest()[:40]
        text = TextCame(
            inbound_id=f"modem-{natural}", phone=one.phone, text=one.text, sent_ms=moment_of(one.stamp)
        )
        return await take_text(self.desk, text, now_ms, way=WAY)

    def _note(self, trouble: str) -> None:
        if bool(trouble) != self.failed:
            self.failed = bool(trouble)
            log.warning("modem cannot be read", cause=trouble) if trouble else log.info("modem is read again")
