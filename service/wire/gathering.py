"""Collects what one message turns out to say, good and bad side by side."""

from __future__ import annotations

from rules.model import CONTACTS, Instant, ProbeId, Quantity, Reading
from service.messages import Decoded, Reason, Rejected, Understood
from service.wire.plausible import believable, contact_state
from service.wire.units import to_own
from service.wire.unusable import UnusableError, quoted


class Gathering:
    """What has been understood of one message so far."""

    def __init__(self) -> None:
        """Begin with nothing."""
        self._understood: list[Understood] = []
        self._rejected: list[Rejected] = []
        self._heard: set[ProbeId] = set()
        self._oddities: dict[str, None] = {}

    def hear(self, probe: ProbeId) -> None:
        """Note that the probe exists."""
        self._heard.add(probe)

    def odd(self, *oddities: str) -> None:
        """Count something accepted but worth knowing; once per message."""
        self._oddities.update(dict.fromkeys(oddities))

    def reject(self, error: UnusableError, probe: ProbeId | None = None) -> None:
        """Keep why a message or value could not be used."""
        self._rejected.append(Rejected(reason=error.reason, detail=error.detail, probe=probe))

    def keep(
        self, probe: ProbeId, quantity: Quantity, number: float, unit: str | None, at_ms: Instant, *, timed: bool
    ) -> None:
        """Keep a number as a reading, in the unit we keep (which is meant when none is given).

        Raises:
            UnusableError: the value is a sentinel or impossible.
        """
        if quantity in CONTACTS:
            value = contact_state(quantity, number)
        else:
            value, oddities = believable(quantity, to_own(quantity, number, unit))
            self.odd(*oddities)
        reading = Reading(probe=probe, quantity=quantity, at_ms=at_ms, value=value)
        self._understood.append(Understood(reading=reading, timed=timed))

    def decoded(self) -> Decoded:
        """Close the message."""
        return Decoded(
            understood=tuple(self._understood),
            rejected=tuple(self._rejected),
            heard=frozenset(self._heard),
            oddities=tuple(self._oddities),
        )


def quantity_of(name: str) -> Quantity:
    """Return the quantity of this name.

    Raises:
        UnusableError: we have none of that name.
    """
    try:
        return Quantity(name)
    except ValueError as error:
        raise UnusableError(Reason.QUANTITY, quoted(name)) from error
