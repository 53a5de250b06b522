"""The broker settings that we ship, tried out on a real mosquitto.

What should hold is OASIS MQTT 5.0: section 4.3.2 (QoS 1: acknowledging takes over responsibility for the message)
and section 4.1 (a session's unsent messages are part of its state). How mosquitto's usual settings fall short of
that was measured on 2.0.11: 1000 messages kept per absent client, sessions written every 30 minutes.
"""

from __future__ import annotations

import getpass
import os
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.support.broker import SHIPPED, Broker, find_mosquitto
from tests.support.mqtt import Listener, connect_code, publish_all
from tests.support.ports import free_port
from tests.support.waiting import until_sync

# The settings that Debian 12's package puts into /etc/mosquitto/mosquitto.conf, its folders replaced by {folder}.
DEBIAN = """\
pid_file {folder}/mosquitto.pid
persistence true
persistence_location {folder}/
log_dest file {folder}/debian.log
include_dir {include}
"""


def _numbered(count: int) -> list[tuple[str, bytes]]:
    return [("farm/x/probe/temperature", f"reading {number:05}".encode()) for number in range(count)]


def _deliver(broker: Broker, listener: Listener, count: int) -> list[bytes]:
    listener.come()
    until_sync(lambda: len(listener.payloads) >= count, within_s=30, what=f"{count} messages")
    listener.go()
    return listener.payloads


def test_readings_for_a_stopped_service_are_all_kept(broker: Broker) -> None:
    listener = Listener(broker.port, "absent", "farm/#")
    listener.come()
    listener.go()

    publish_all(broker.port, _numbered(3000))

    assert _deliver(broker, listener, 3000) == [payload for _, payload in _numbered(3000)]


def test_readings_survive_a_power_cut_of_the_broker_a_moment_later(broker: Broker) -> None:
    """mosquitto acknowledges first and writes next, so a cut within those milliseconds can take the last reading.

    Measured on 2.0.11: 6 of 12 kills straight after the last acknowledgement lost one reading of 100, none lost
    two; the file was complete within 11 ms. We know of no setting that closes the gap.
    """
    listener = Listener(broker.port, "absent", "farm/#")
    listener.come()
    listener.go()
    publish_all(broker.port, _numbered(100))
    until_sync(lambda: _last_is_on_disk(broker, 100), within_s=10, what="the broker's file")

    broker.kill()
    broker.start()

    assert _deliver(broker, listener, 100) == [payload for _, payload in _numbered(100)]


def test_unconfirmed_readings_are_kept_as_well(broker: Broker) -> None:
    listener = Listener(broker.port, "absent", "farm/#")
    listener.come()
    listener.go()

    publish_all(broker.port, _numbered(50), qos=0)

    assert len(_deliver(broker, listener, 50)) == 50


def test_our_settings_fit_into_a_packaged_broker(tmp_path: Path) -> None:
    """Some settings may stand only once: adding ours to Debian's must not keep the broker from starting."""
    port = free_port()
    config = tmp_path / "mosquitto.conf"
    config.write_text(
        DEBIAN.format(folder=tmp_path, include=SHIPPED / "conf.d")
        + f"listener {port} 127.0.0.1\nallow_anonymous true\nuser {getpass.getuser()}\n"
    )
    packaged = _startable(Broker(tmp_path, port=port, config=config))

    packaged.start()
    packaged.stop()


@pytest.fixture
def guarded(tmp_path: Path) -> Iterator[Broker]:
    """The broker of docker-compose.yml, started by its own script with its folders moved here."""
    port = free_port()
    config = tmp_path / "config"
    config.mkdir()
    (tmp_path / "data").mkdir()
    for name in ("start", "mosquitto.conf"):
        text = (SHIPPED / name).read_text()
        text = text.replace("/mosquitto/data", str(tmp_path / "data")).replace(
            "/mosquitto/config/conf.d", "CONF_D"
        )
        text = text.replace("/mosquitto/config", str(config)).replace("CONF_D", str(SHIPPED / "conf.d"))
        text = text.replace("listener 1883", f"listener {port} 127.0.0.1\nuser {getpass.getuser()}")
        (config / name).write_text(text)
    broker = _startable(Broker(tmp_path, port=port, config=config / "mosquitto.conf"))
    subprocess.run(["sh", config / "start", "--only-passwords"], check=True, env=_passwords())
    broker.start()
    yield broker
    broker.stop()


def test_the_composed_broker_lets_in_its_two_names_and_nobody_else(guarded: Broker) -> None:
    assert connect_code(guarded.port, ("houseband", "secret-1")) == "Success"
    assert connect_code(guarded.port, ("probe", "secret-2")) == "Success"
    assert connect_code(guarded.port, ("probe", "secret-1")) == "Not authorized"
    assert connect_code(guarded.port) == "Not authorized"


def test_the_composed_broker_hides_its_passwords_from_other_users(guarded: Broker) -> None:
    passwords = guarded.folder / "data" / "passwords"

    assert passwords.stat().st_mode & 0o077 == 0
    assert "secret" not in passwords.read_text()


def _last_is_on_disk(broker: Broker, count: int) -> bool:
    return _numbered(count)[-1][1] in (broker.folder / "mosquitto.db").read_bytes()


def _startable(broker: Broker) -> Broker:
    if not find_mosquitto():
        pytest.skip("mosquitto is not installed (Debian: apt-get install mosquitto)")
    return broker


def _passwords() -> dict[str, str]:
    return os.environ | {
        "HOUSEBAND_BROKER_USERNAME": "houseband",
        "HOUSEBAND_BROKER_PASSWORD": "secret-1",
        "HOUSEBAND_PROBE_PASSWORD": "secret-2",
    }
