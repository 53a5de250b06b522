"""The way back from the pretend text gateway: it calls the service with answers, and with receipts.

Each call is signed as gateways do: HMAC-SHA256 (RFC 2104) over the time, a full stop and the body.
"""

from __future__ import annotations

import hashlib
import hmac
import json
import threading
from dataclasses import dataclass, field
from typing import Any, Final

import httpx

from simulator.clock import FarmClock
from simulator.inbox import Inbox, Received, Written

KEY_VARIABLE: Final = "PRETEND_GATEWAY_KEY"
"""Where a secret is handed over: everybody on a machine can read command lines."""
SIGNATURE_HEADER: Final = "X-Signature"
TIME_HEADER: Final = "X-Time"
DELIVERED: Final = "delivered"
TAKEN: Final = "taken (200)"
NOT_SET_UP: Final = "not sent: this phone has no way to the service"
PATIENCE_S: Final = 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class WayBack:
    """How to reach the service, and how to prove that it is the gateway that calls."""

    service_url: str
    secret: str = field(repr=False)
    clock: FarmClock
    receipt_after_s: float = 1.5
    """Real seconds: a receipt must not overtake our answer to the text it is about."""

    def answer(self, written: Written) -> str:
        """Hand over what somebody wrote; returns what came back, in words."""
        body = {
            "id": f"written-{written.number}",
            "from": written.phone,
            "text": written.text,
            "at": written.farm_ms,
        }
        return self._call("/api/inbound/texts", body)

    def receipt(self, received: Received) -> str:
        """Say that a text has arrived; returns what came back, in words."""
        return self._call("/api/inbound/receipts", {"id": str(received.number), "status": DELIVERED})

    def receipt_soon(self, inbox: Inbox, received: Received) -> None:
        """Say so in a moment, and note what came back."""

        def say() -> None:
            inbox.note_receipt(received.number, self.receipt(received))

        timer = threading.Timer(self.receipt_after_s, say)
        timer.daemon = True
        timer.start()

    def _call(self, path: str, message: dict[str, Any]) -> str:
        body = json.dumps(message).encode()
        time = str(self.clock.farm_now_ms())
        signature = hmac.new(self.secret.encode(), f"{time}.".encode() + body, hashlib.sha256).hexdigest()
        headers = {"Content-Type": "application/json", TIME_HEADER: time, SIGNATURE_HEADER: signature}
        try:
            # Nothing on this machine is reached through a proxy.
            with httpx.Client(timeout=PATIENCE_S, trust_env=False) as http:
                status = http.post(self.service_url + path, content=body, headers=headers).status_code
        except httpx.HTTPError as error:
            return f"not taken: the service was not reached ({type(error).__name__})"
        return TAKEN if status == httpx.codes.OK else f"not taken ({status})"
