"""Ports of this machine's own address."""

from __future__ import annotations

import socket
from typing import Final

LOOPBACK: Final = "127.0.0.1"


def free_port(wanted: int = 0) -> int:
    """Return ``wanted`` where nobody listens there, else a port that was free a moment ago."""
    try:
        return _bound(wanted)
    except OSError:
        return _bound(0)


def _bound(port: int) -> int:
    # As servers do: a port on which connections of an earlier run still linger counts as free.
    with socket.create_server((LOOPBACK, port)) as held:
        found: int = held.getsockname()[1]
        return found


def answers(port: int) -> bool:
    """Say whether something listens on the port."""
    try:
        with socket.create_connection((LOOPBACK, port), timeout=1):
            return True
    except OSError:
        return False
