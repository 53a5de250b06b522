"""Command line of the simulator: ``run`` the invented farm, or be its people's pretend phones (``phone``)."""

from __future__ import annotations

import argparse
import os
import signal
import threading
from collections.abc import Callable, Sequence
from types import FrameType

from simulator import farm, live
from simulator.clock import FarmClock, wall_now_ms
from simulator.control import checked_fault, control_app
from simulator.faults import FaultBook
from simulator.inbox import Inbox
from simulator.phone import phone_app
from simulator.publish import Publisher
from simulator.way_back import KEY_VARIABLE, WayBack
from simulator.web_door import WebDoor
from simulator.world import World

HOUR_MS = 3_600_000


def main(words: Sequence[str] | None = None) -> int:
    """Read the command line and do it until SIGINT or SIGTERM."""
    arguments = _parser().parse_args(words)
    stop = threading.Event()

    def stopping(_number: int, _frame: FrameType | None) -> None:
        stop.set()

    signal.signal(signal.SIGINT, stopping)
    signal.signal(signal.SIGTERM, stopping)
    verb: Callable[[argparse.Namespace, threading.Event], int] = arguments.verb
    try:
        return verb(arguments, stop)
    except (ValueError, OSError) as error:
        print(f"cannot start: {error}")
        return 2


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m simulator", description=f"{__doc__} ({farm.INVENTED})")
    verbs = parser.add_subparsers(required=True, metavar="run | phone")
    run = verbs.add_parser("run", help="step the rooms and publish their readings over MQTT")
    run.set_defaults(verb=run_farm)
    run.add_argument("--broker", default="127.0.0.1:1883", type=_address, metavar="HOST:PORT")
    run.add_argument("--history-hours", default=36.0, type=float, help="hours of past readings to feed first")
    run.add_argument("--seed", default=1, type=int, help="weather and noise repeat with the same seed")
    run.add_argument(
        "--fault", action="append", default=[], metavar="KIND:ROOM@+20min[/50min]", help="from the farm anchor"
    )
    run.add_argument("--no-bad-stretch", action="store_true", help="leave last night's dry spell out")
    run.add_argument("--control-port", default=0, type=int, help="port of the control page; 0 for any free one")
    phone = verbs.add_parser("phone", help="take texts by HTTP, show them, and let people answer")
    phone.set_defaults(verb=run_phone)
    phone.add_argument("--port", default=0, type=int)
    phone.add_argument("--service", help=f"address of the service, for answers signed with {KEY_VARIABLE}")
    for verb in (run, phone):
        verb.add_argument("--factor", default=1.0, type=float, help="farm seconds in one real second")
        verb.add_argument("--anchor-wall-ms", type=int, help="real time when the farm clock stood at its anchor")
        verb.add_argument("--anchor-farm-ms", type=int, help="farm time at the anchor")
    return parser


def _address(text: str) -> tuple[str, int]:
    host, _, port = text.rpartition(":")
    if not host or not port.isdecimal():
        raise argparse.ArgumentTypeError(f"{text!r} is not HOST:PORT")
    return host, int(port)


def _clock(arguments: argparse.Namespace) -> FarmClock:
    """Without anchors the farm clock is the wall clock, sped up from now."""
    now_ms = wall_now_ms()
    wall_ms = arguments.anchor_wall_ms if arguments.anchor_wall_ms is not None else now_ms
    farm_ms = arguments.anchor_farm_ms if arguments.anchor_farm_ms is not None else wall_ms
    return FarmClock(anchor_wall_ms=wall_ms, anchor_farm_ms=farm_ms, factor=arguments.factor)


def run_farm(arguments: argparse.Namespace, stop: threading.Event) -> int:
    """Feed the past, then go on live."""
    clock = _clock(arguments)
    given = [checked_fault(spelling, from_ms=clock.anchor_farm_ms) for spelling in arguments.fault]
    past = [] if arguments.no_bad_stretch else [farm.last_night_fault(clock.anchor_farm_ms)]
    faults = FaultBook((*past, *given))
    first_ms = clock.anchor_farm_ms - round(arguments.history_hours * HOUR_MS)
    world = World(first_reading_ms=first_ms, faults=faults, seed=arguments.seed)
    progress = live.Progress(stepped_to_ms=world.now_ms, truths=world.truths())
    host, port = arguments.broker
    with Publisher(host, port, f"{farm.FARM_ID}-gateway") as publisher:
        app = control_app(clock, faults, progress, publisher)
        with WebDoor(app, arguments.control_port) as door:
            print(f"{farm.FARM_NAME} ({farm.INVENTED}); control: {door.url}", flush=True)
            live.run(world, clock, publisher, progress, stop)
            publisher.wait_answered(timeout_s=2.0)
    return 0


def run_phone(arguments: argparse.Namespace, stop: threading.Event) -> int:
    """Be the phones until stopped."""
    clock = _clock(arguments)
    way_back = None
    if arguments.service:
        secret = os.environ.get(KEY_VARIABLE)
        if not secret:
            raise ValueError(f"answers are signed: set {KEY_VARIABLE}")
        way_back = WayBack(service_url=arguments.service, secret=secret, clock=clock)
    with WebDoor(phone_app(Inbox(clock), clock, way_back), arguments.port) as door:
        print(f"pretend phones ({farm.INVENTED}): {door.url}", flush=True)
        stop.wait()
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
