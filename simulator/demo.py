"""``houseband demo``: the whole line on an invented farm, from probes in the air to a text on a phone.

The farm's clock runs faster than the real one; rooms, waits and rules are what they always are.
"""

from __future__ import annotations

import argparse
import itertools
import signal
import threading
from collections.abc import Sequence
from types import FrameType
from typing import Final

import httpx

from simulator import books, evening, farm, opening, round_trip, setting_up
from simulator.clock import FarmClock, wall_now_ms
from simulator.demo_broker import AUTO, KINDS, plan_broker
from simulator.moments import farm_time
from simulator.opening import Opened
from simulator.parts import DemoError, Parts, Stopped
from simulator.text_check import septets

FACTOR: Final = 20.0
HISTORY_HOURS: Final = 36.0
ENDING: Final = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
_REQUEST_S: Final = 15.0


def main(words: Sequence[str] | None = None) -> int:
    """Run the demo; 0 when it showed what it should."""
    options = _parser().parse_args(words)
    stop = threading.Event()

    def stopping(_number: int, _frame: FrameType | None) -> None:
        stop.set()

    for number in ENDING:
        signal.signal(number, stopping)
    try:
        return _run(options, stop)
    except Stopped:
        print("\nStopped; nothing is left running.", flush=True)
        return int(options.until_text)
    except (DemoError, ValueError, OSError, httpx.HTTPError) as error:
        print(f"\nThe demo failed: {error}", flush=True)
        return 1


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="houseband demo", description=f"{__doc__} ({farm.INVENTED})")
    parser.add_argument("--until-text", action="store_true", help="end when the text is there: 0 if it is right")
    parser.add_argument("--port", type=int, default=8000, help="port of the pages, if it is free")
    parser.add_argument("--phone-port", type=int, default=8010, help="port of the pretend phones, if it is free")
    parser.add_argument("--fault-after-s", type=float, default=45.0, help="real seconds of quiet before the fault")
    parser.add_argument("--give-up-after-s", type=float, default=120.0, help="real seconds from fault to text")
    parser.add_argument("--broker", choices=KINDS, default=AUTO, help="mosquitto where installed, or pip's")
    return parser


class Story:
    """Tells what goes on, with the seconds since the start."""

    def __init__(self) -> None:
        self._start_ms = wall_now_ms()

    def say(self, line: str) -> None:
        print(f"{(wall_now_ms() - self._start_ms) / 1000:6.1f} s  {line}", flush=True)


def _run(options: argparse.Namespace, stop: threading.Event) -> int:
    story = Story()
    clock = FarmClock(anchor_wall_ms=wall_now_ms(), anchor_farm_ms=farm.DEMO_EVENING_MS, factor=FACTOR)
    story.say(f"{farm.FARM_NAME}, {farm.PLACE}. All of it is {farm.INVENTED}.")
    story.say(
        f"The farm's clock runs {FACTOR:g} times as fast as yours; there it is {farm_time(clock.anchor_farm_ms)}."
    )
    # Nothing on this machine is reached through a proxy.
    with Parts(stop) as parts, httpx.Client(timeout=_REQUEST_S, trust_env=False) as http:
        opened = Opened(
            parts=parts,
            clock=clock,
            broker=plan_broker(parts.folder, options.broker),
            at=opening.choose_addresses(options.port, options.phone_port),
            http=http,
        )
        proven = _open(opened, options, story)
        told = _break_and_wait(opened, options, story, after=proven)
        wrong = evening.wrong_with(told)
        if wrong:
            raise DemoError(f"the text is wrong: {'; '.join(wrong)}")
        if not options.until_text:
            _say_how_to_act(opened, story, told.text)
            _go_on(opened, story, after=told.text["number"])
    return 0


def _open(opened: Opened, options: argparse.Namespace, story: Story) -> int:
    """Set everything up; returns the number of the last text by then."""
    api = setting_up.FarmApi(opened.http, opened.at.web)
    for what, wanted, url in (
        ("pages", options.port, opened.at.web),
        ("phones", options.phone_port, opened.at.phone),
    ):
        if wanted and not url.endswith(f":{wanted}"):
            story.say(f"Port {wanted} is taken, so the {what} get another.")
    opening.open_service(opened)
    story.say(
        f"Running: {opened.broker.title}, an SQLite database, the service, {len(books.PEOPLE)} pretend phones."
    )
    setting_up.set_up_farm(api, opened.clock.anchor_farm_ms)
    story.say(f"{len(farm.HOUSES)} rooms and {len(farm.PROBES)} probes are set up, with crops and people.")
    last = round_trip.prove(opened, api)
    story.say(
        f"{len(books.PEOPLE)} test texts went out and were answered HERE: from now on texts ask for answers."
    )
    opening.open_rooms(opened, HISTORY_HOURS)
    story.say(f"The rooms send their last {HISTORY_HOURS:g} hours ...")
    packs = evening.wait_fed(opened, api)
    setting_up.end_first_days(api)
    story.say(f"... {packs} messages, all recorded. From here on the farm is live.")
    story.say(f"Pages:  {opened.at.web}")
    story.say(f"Phones: {opened.at.phone}")
    return last


def _break_and_wait(opened: Opened, options: argparse.Namespace, story: Story, *, after: int) -> evening.Told:
    room = evening.PINNING.text_name
    story.say(f"In {options.fault_after_s:g} s the humidifier of {room} will stop.")
    evening.quiet_for(opened, options.fault_after_s, after=after)
    fault_ms = evening.stop_humidifier(opened)
    story.say(f"The humidifier of {room} has stopped. Farm clock: {farm_time(fault_ms)}.")
    text = evening.wait_text(opened, options.give_up_after_s, after=after)
    story.say(f"A text to {evening.name_of(text['to'])} ({septets(text['text'])} of 160 septets):")
    print(f"\n    {text['text']}\n", flush=True)
    api = setting_up.FarmApi(opened.http, opened.at.web)
    told = evening.what_led_to(api, text, fault_ms)
    for line in evening.times(told, opened.clock):
        print(f"    {line}", flush=True)
    return told


def _say_how_to_act(opened: Opened, story: Story, text: evening.Text) -> None:
    print(flush=True)
    answer, name = evening.ANSWER, evening.name_of(text["to"])
    story.say(f"To answer, write {answer!r} on the phone of {name}, or in another terminal:")
    print(f"    curl -d 'text={answer}' {opened.at.phone}/phones/{text['to']}/answers", flush=True)
    story.say("The demo goes on until you press Ctrl-C. To mend the humidifier, in another terminal:")
    mend = f'{{"kind": "humidifier", "target": "{evening.PINNING.room_id}"}}'
    print(f"    curl -H 'content-type: application/json' -d '{mend}' {opened.at.control}/faults/end", flush=True)


def _go_on(opened: Opened, story: Story, *, after: int) -> None:
    """Show further texts, and what people answer, until somebody ends the demo."""
    shown: set[int] = set()
    for _ in itertools.count():
        for number, line in evening.news(opened, after=after):
            if number not in shown:
                story.say(line)
                shown.add(number)
        opened.parts.check()
        opened.parts.rest()


if __name__ == "__main__":
    raise SystemExit(main())
