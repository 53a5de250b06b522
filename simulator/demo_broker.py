"""The broker of the demo: mosquitto where it is installed, with the settings we ship; else one that pip brings.

Run as a program (``python -m simulator.demo_broker CONFIG``) it is the second of the two.
"""

from __future__ import annotations

import os
import shutil
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from simulator.doors import LOOPBACK, free_port

SHIPPED: Final = Path(__file__).parents[1] / "service" / "broker" / "conf.d"
AUTO, MOSQUITTO, BUILT_IN = "auto", "mosquitto", "pip"
KINDS: Final = (AUTO, MOSQUITTO, BUILT_IN)
_SYSTEM_PATH: Final = "/usr/sbin:/usr/bin:/usr/local/sbin:/usr/local/bin:/opt/homebrew/sbin"
"""Debian keeps mosquitto where an ordinary user's PATH does not look."""
_LARGEST_MESSAGE: Final = 1_048_576


@dataclass(frozen=True, slots=True, kw_only=True)
class Broker:
    """How to start a broker, and where it will listen."""

    title: str
    command: tuple[str, ...]
    probe_port: int
    """For MQTT 3.1.1, which probes speak."""
    service_port: int
    """For MQTT 5, which the service speaks."""


def find_mosquitto() -> str | None:
    """Return the path of mosquitto, if it is installed."""
    return shutil.which("mosquitto") or shutil.which("mosquitto", path=_SYSTEM_PATH)


def plan_broker(folder: Path, kind: str = AUTO) -> Broker:
    """Choose a broker and write its settings into ``folder``.

    Raises:
        ValueError: mosquitto was asked for and is not installed.
    """
    program = None if kind == BUILT_IN else find_mosquitto()
    if program is None and kind == MOSQUITTO:
        raise ValueError("mosquitto is not installed")
    return _pip_broker(folder) if program is None else _mosquitto(folder, program)


def _mosquitto(folder: Path, program: str) -> Broker:
    """Our shipped settings, and beside them only what a demo does otherwise: port, folder, no passwords."""
    port = free_port()
    # Started by root, mosquitto would become a user who may not write here.
    user = "user root\n" if os.getuid() == 0 else ""
    config = folder / "mosquitto.conf"
    config.write_text(
        f"listener {port} {LOOPBACK}\n"
        "allow_anonymous true\n"
        f"persistence_location {folder}/\n"
        f"{user}"
        f"include_dir {SHIPPED}\n"
    )
    return Broker(title="mosquitto", command=(program, "-c", str(config)), probe_port=port, service_port=port)


def _pip_broker(folder: Path) -> Broker:
    """It serves each version of the protocol on a port of its own."""
    probe_port, service_port = free_port(), free_port()
    config = folder / "broker.toml"
    config.write_text(
        "id = 0\n\n[router]\nid = 0\nmax_connections = 100\nmax_outgoing_packet_count = 200\n"
        "max_segment_size = 104857600\nmax_segment_count = 10\n"
        + _listener("v4.probes", probe_port)
        + _listener("v5.service", service_port)
    )
    return Broker(
        title="the broker that pip installs",
        command=(sys.executable, "-m", "simulator.demo_broker", str(config)),
        probe_port=probe_port,
        service_port=service_port,
    )


def _listener(table: str, port: int) -> str:
    return (
        f'\n[{table}]\nname = "{table}"\nlisten = "{LOOPBACK}:{port}"\nnext_connection_delay_ms = 1\n'
        f"\n[{table}.connections]\nconnection_timeout_ms = 60000\nmax_payload_size = {_LARGEST_MESSAGE}\n"
        "max_inflight_count = 200\ndynamic_filters = false\n"
    )


def serve_pip_broker(config: str) -> None:
    """Be the broker until killed. The only place that knows this library."""
    import logging  # noqa: PLC0415 - with the next line: only this process needs them

    from iotcore import Broker as PipBroker  # noqa: PLC0415

    # It writes several lines for every packet otherwise.
    logging.getLogger("rumqttd").setLevel(logging.CRITICAL)
    logging.basicConfig(level=logging.WARNING)
    PipBroker(config_path=config).run_forever()


if __name__ == "__main__":
    serve_pip_broker(sys.argv[1])
