"""A subscriber in a process of its own that confirms what comes and counts it: the yardstick for the line.

``python -m tests.support.counting_subscriber PORT TOPIC COUNT`` says "ready" when its subscription stands, and
ends when it has counted enough.
"""

from __future__ import annotations

import sys
import threading
from typing import Any

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

_WITHIN_S = 120


def count_messages(port: int, topic: str, count: int) -> bool:
    """Return True once ``count`` messages came."""
    left, enough = [count], threading.Event()

    def on_connect(client: mqtt.Client, *_about: Any) -> None:
        client.subscribe(topic, qos=1)

    def on_subscribe(*_about: Any) -> None:
        sys.stdout.write("ready\n")
        sys.stdout.flush()

    def on_message(*_about: Any) -> None:
        left[0] -= 1
        if left[0] == 0:
            enough.set()

    client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id="counting", protocol=mqtt.MQTTv5)
    client.on_connect, client.on_subscribe, client.on_message = on_connect, on_subscribe, on_message
    client.connect("127.0.0.1", port)
    client.loop_start()
    came = enough.wait(_WITHIN_S)
    client.disconnect()
    client.loop_stop()
    return came


if __name__ == "__main__":
    sys.exit(not count_messages(int(sys.argv[1]), sys.argv[2], int(sys.argv[3])))
