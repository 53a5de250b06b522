"""What is silent and since when. The limits are this project's own (judgement); nothing outside fixes them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.model import HOUR_MS, MINUTE_MS, SECOND_MS
from rules.silence import (
    LEAST_PROBE_MS,
    Again,
    HeardProbe,
    Limits,
    Look,
    Scope,
    Silent,
    Span,
    find_silent,
    heard_again,
    listened_ms,
    probe_limit_ms,
    silent_gateway,
    silent_probe,
    silent_site,
    usual_interval_ms,
)

pytestmark = pytest.mark.pure

LIMITS = Limits(probe_intervals=3, gateway_ms=5 * MINUTE_MS, site_ms=3 * MINUTE_MS)
NIGHT_MS = 10 * HOUR_MS


def probe(
    name: str, *, heard: float, usual: float | None = 1, gateway: str | None = None, placed: float = 0
) -> HeardProbe:
    """A probe; times in minutes."""
    return HeardProbe(
        probe=name,
        gateway=gateway,
        heard_ms=round(heard * MINUTE_MS),
        from_ms=round(placed * MINUTE_MS),
        usual_ms=None if usual is None else round(usual * MINUTE_MS),
    )


def look(minute: float, *spans: tuple[float, float]) -> Look:
    """A moment; we listened all the time unless told otherwise."""
    listened: list[Span] = [(round(a * MINUTE_MS), round(b * MINUTE_MS)) for a, b in spans or [(0, minute)]]
    return Look(spans=listened, limits=LIMITS, now_ms=round(minute * MINUTE_MS))


def scopes(silent: Sequence[Silent]) -> list[tuple[str, str]]:
    return [(one.scope.value, one.name) for one in silent]


def alive(minute: float) -> HeardProbe:
    return probe("alive", heard=minute)


# --- one probe --------------------------------------------------------------------------------------------------


def test_a_probe_is_silent_after_three_of_its_intervals() -> None:
    gone = probe("gone", heard=60, usual=5)
    assert find_silent([gone, alive(74.9)], look(74.9)) == ()
    (one,) = find_silent([gone, alive(75)], look(75))
    assert one == Silent(
        scope=Scope.PROBE,
        name="gone",
        since_ms=60 * MINUTE_MS,
        counts_from_ms=60 * MINUTE_MS,
        limit_ms=15 * MINUTE_MS,
        probes=("gone",),
    )


def test_however_often_a_probe_reports_two_minutes_pass_first() -> None:
    assert probe_limit_ms(2 * SECOND_MS, LIMITS) == LEAST_PROBE_MS
    quick = probe("quick", heard=60, usual=0.1)
    assert find_silent([quick, alive(61.9)], look(61.9)) == ()
    assert scopes(find_silent([quick, alive(62)], look(62))) == [("probe", "quick")]


def test_a_probe_of_which_nothing_is_usual_is_never_silent() -> None:
    contact = probe("door", heard=0, usual=None)
    assert silent_probe(contact, look(600)) is None
    assert find_silent([contact, alive(600)], look(600)) == ()


def test_silence_counts_from_when_a_probe_was_placed() -> None:
    moved = probe("moved", heard=10, placed=60)
    assert find_silent([moved, alive(62)], look(62)) == ()
    (one,) = find_silent([moved, alive(63)], look(63))
    assert (one.since_ms, one.counts_from_ms) == (10 * MINUTE_MS, 60 * MINUTE_MS)


def test_a_probe_that_reports_rarely_is_silent_by_itself_and_stands_for_nothing_wider() -> None:
    battery = probe("battery", heard=0, usual=60)
    assert find_silent([battery], look(179)) == ()
    assert scopes(find_silent([battery], look(180))) == [("probe", "battery")]
    assert scopes(find_silent([battery, alive(10)], look(180))) == [("site", "")]


# --- wider ------------------------------------------------------------------------------------------------------


def test_the_site_is_silent_after_three_minutes_and_swallows_all_else() -> None:
    probes = [probe(f"p{n}", heard=60 + n / 10, gateway="north") for n in range(4)]
    assert find_silent(probes, look(63)) == ()
    (one,) = find_silent(probes, look(63.3))
    assert (one.scope, one.since_ms, one.probes) == (
        Scope.SITE,
        63.3 * MINUTE_MS - LIMITS.site_ms,
        ("p0", "p1", "p2", "p3"),
    )


def test_probes_that_may_be_falling_silent_together_are_not_named_one_by_one() -> None:
    # p0 is beyond its own two minutes before the site is beyond its three.
    probes = [probe("p0", heard=60, usual=0.5), probe("p1", heard=60.4, usual=0.5)]
    assert find_silent(probes, look(62.5)) == ()
    assert scopes(find_silent(probes, look(63.4))) == [("site", "")]
    # Had the other gone on, it would have been this probe alone.
    assert scopes(find_silent([probes[0], probe("p1", heard=62.4, usual=0.5)], look(62.5))) == [("probe", "p0")]


def test_a_gateway_is_silent_after_five_minutes_with_all_its_probes() -> None:
    probes = [probe("n1", heard=60, gateway="north"), probe("n2", heard=60.5, gateway="north"), alive(65.4)]
    assert find_silent(probes, look(65.4)) == ()
    probes[2] = alive(65.5)
    (one,) = find_silent(probes, look(65.5))
    assert (one.scope, one.name, one.probes) == (Scope.GATEWAY, "north", ("n1", "n2"))
    assert silent_gateway("north", probes, look(65.5)) == one
    assert silent_gateway("south", probes, look(65.5)) is None


def test_a_probe_alone_behind_its_gateway_is_told_as_a_probe() -> None:
    probes = [probe("n1", heard=60, gateway="north"), alive(70)]
    assert scopes(find_silent(probes, look(70))) == [("probe", "n1")]


def test_a_probe_long_dead_says_nothing_against_its_gateway() -> None:
    probes = [probe("dead", heard=1, gateway="north"), probe("n2", heard=60, gateway="north"), alive(70)]
    assert scopes(find_silent(probes, look(70))) == [("probe", "dead"), ("probe", "n2")]


def test_one_probe_behind_a_gateway_that_others_are_heard_through_is_alone() -> None:
    probes = [probe("n1", heard=60, gateway="north"), probe("n2", heard=69.9, gateway="north"), alive(69.8)]
    assert scopes(find_silent(probes, look(70))) == [("probe", "n1")]


def test_slow_probes_give_the_wider_layers_more_time() -> None:
    probes = [probe("p0", heard=60, usual=5), probe("p1", heard=60, usual=5)]
    assert find_silent(probes, look(69.9)) == ()
    assert scopes(find_silent(probes, look(70))) == [("site", "")]


def test_with_no_probes_nothing_is_silent() -> None:
    assert find_silent([], look(600)) == ()
    assert silent_site([], look(600)) is None


# --- only while we listen ---------------------------------------------------------------------------------------


def test_while_we_do_not_listen_nothing_is_silent() -> None:
    probes = [probe("p0", heard=1), probe("p1", heard=1)]
    assert find_silent(probes, look(600, (0, 599))) == ()
    assert find_silent(probes, Look(spans=(), limits=LIMITS, now_ms=NIGHT_MS)) == ()


def test_after_six_hours_of_our_own_everything_begins_afresh() -> None:
    probes = [probe("p0", heard=60), probe("p1", heard=60)]
    assert find_silent(probes, look(422.9, (420, 422.9))) == ()
    assert scopes(find_silent(probes, look(423, (420, 423)))) == [("site", "")]


def test_a_short_break_of_ours_does_not_begin_everything_afresh() -> None:
    probes = [probe("p0", heard=60), probe("p1", heard=60)]
    # Two minutes before the break, one after it: but also one whole interval after it, not less.
    assert find_silent(probes, look(62.9, (0, 62), (62.1, 62.9))) == ()
    assert scopes(find_silent(probes, look(63.1, (0, 62), (62.1, 63.1)))) == [("site", "")]


@given(
    heard=st.lists(st.integers(0, 120), min_size=1, max_size=6),
    gateways=st.lists(st.sampled_from([None, "north", "south"]), min_size=6, max_size=6),
    deaf_from=st.integers(0, 120),
    deaf_minutes=st.integers(1, 60),
    now=st.integers(121, 200),
)
def test_deafness_of_ours_never_makes_silence(
    heard: list[int], gateways: list[str | None], deaf_from: int, deaf_minutes: int, now: int
) -> None:
    """Whatever is silent was unheard for its limit while we listened; and every probe is told at most once."""
    probes = [probe(f"p{n}", heard=at, gateway=gateways[n]) for n, at in enumerate(heard)]
    spans = (
        [(0, deaf_from), (deaf_from + deaf_minutes, now)] if deaf_from + deaf_minutes < now else [(0, deaf_from)]
    )
    at = look(now, *spans)
    silent = find_silent(probes, at)
    named = [name for one in silent for name in one.probes]
    assert len(named) == len(set(named))
    for one in silent:
        assert listened_ms(at.spans, one.counts_from_ms, at.now_ms) >= one.limit_ms
        assert one.since_ms == max(p.heard_ms for p in probes if p.probe in one.probes)
    if any(one.scope is Scope.SITE for one in silent):
        assert len(silent) == 1


@given(
    heard=st.lists(st.integers(0, 100), min_size=2, max_size=6),
    gateways=st.lists(st.sampled_from([None, "north", "south"]), min_size=6, max_size=6),
)
def test_nothing_that_stays_unheard_is_forgotten(heard: list[int], gateways: list[str | None]) -> None:
    """Long after, every probe is silent in some layer."""
    probes = [probe(f"p{n}", heard=at, gateway=gateways[n]) for n, at in enumerate(heard)]
    silent = find_silent([*probes, alive(400)], look(400))
    assert {name for one in silent for name in one.probes} == {p.probe for p in probes}


# --- what is usual, and heard again -----------------------------------------------------------------------------


def as_they_came(*minutes: float) -> list[tuple[int, int]]:
    """Readings that were received when they were measured."""
    return [(round(m * MINUTE_MS), round(m * MINUTE_MS)) for m in minutes]


def test_the_usual_interval_is_a_median() -> None:
    assert usual_interval_ms(as_they_came(0, 1, 2, 3, 63, 64, 65)) == MINUTE_MS
    assert usual_interval_ms(as_they_came(0, 1, 2)) is None
    assert usual_interval_ms([]) is None


def test_an_hour_of_readings_in_one_message_is_one_hearing_an_hour() -> None:
    packs = [(h * HOUR_MS - n * MINUTE_MS, h * HOUR_MS) for h in range(4) for n in range(60)]
    assert usual_interval_ms(packs) == HOUR_MS
    assert usual_interval_ms(packs[:60]) is None


def test_a_queue_delivered_at_once_does_not_make_a_probe_quick() -> None:
    queue = [(n * 5 * MINUTE_MS, 7 * HOUR_MS + n) for n in range(30)]
    assert usual_interval_ms(queue) == 5 * MINUTE_MS


def again(heard_from: float | None, *, newest: float, now: float, silent: bool = False, limit: float = 3) -> Again:
    return heard_again(
        None if heard_from is None else round(heard_from * MINUTE_MS),
        newest_ms=round(newest * MINUTE_MS),
        since_ms=60 * MINUTE_MS,
        still_silent=silent,
        limit_ms=round(limit * MINUTE_MS),
        now_ms=round(now * MINUTE_MS),
    )


def test_it_must_be_heard_for_as_long_as_its_limit() -> None:
    assert again(None, newest=60, now=90) == Again(heard_from_ms=None)
    assert again(None, newest=90, now=90) == Again(heard_from_ms=90 * MINUTE_MS)
    assert not again(90, newest=92, now=92.9).is_over
    assert again(90, newest=92, now=93) == Again(heard_from_ms=90 * MINUTE_MS, is_over=True)


def test_what_is_lost_again_has_to_begin_again() -> None:
    assert again(90, newest=91, now=94, silent=True) == Again(heard_from_ms=None)


def test_listened_time_is_the_sum_of_what_lies_within() -> None:
    assert listened_ms([(0, 10), (20, 30)], 5, 25) == 10
    assert listened_ms([(0, 10)], 20, 30) == 0


def test_a_clock_that_was_set_back_makes_nothing_silent() -> None:
    ahead = replace(probe("p0", heard=100), heard_ms=100 * MINUTE_MS)
    assert find_silent([ahead, probe("p1", heard=100)], look(60)) == ()
