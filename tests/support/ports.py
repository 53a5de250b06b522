"""Loopback ports for real servers."""

from __future__ import annotations

import socket

LOOPBACK = "127.0.0.1"


def free_port() -> int:
    """Return a port that was free a moment ago."""
    with socket.socket() as probe:
        probe.bind((LOOPBACK, 0))
        port: int = probe.getsockname()[1]
        return port


def accepts(port: int) -> bool:
    """Say whether something listens on the port."""
    try:
        with socket.create_connection((LOOPBACK, port), timeout=1):
            return True
    except OSError:
        return False
