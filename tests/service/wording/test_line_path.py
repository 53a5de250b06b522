from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.wording.line_path import Frame, holes, line_path

pytestmark = pytest.mark.pure

FRAME = Frame(from_ms=0, to_ms=1000, left=0, right=100, top=0, bottom=50, low=0, high=10)


def places(path: str) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y in re.findall(r"[ML]([0-9.]+) ([0-9.]+)", path)]


def test_few_points_are_drawn_as_they_are() -> None:
    assert line_path([(0, 0.0), (500, 5.0), (1000, 10.0)], FRAME, 500) == "M0 50L50 25L100 0"


def test_a_hole_longer_than_allowed_breaks_the_line_and_a_shorter_one_does_not() -> None:
    points = [(0, 1.0), (100, 1.0), (301, 1.0), (400, 1.0)]
    assert line_path(points, FRAME, 200).count("M") == 2
    assert line_path(points, FRAME, 201).count("M") == 1


def test_a_lone_reading_is_a_dot() -> None:
    assert line_path([(500, 5.0)], FRAME, 100) == "M50 25h.01"


def test_nothing_outside_the_frame_is_drawn() -> None:
    assert line_path([(-1, 5.0), (1001, 5.0)], FRAME, 100) == ""


def test_holes_are_found_at_the_ends_too() -> None:
    assert holes([(300, 1.0), (400, 1.0)], FRAME, 200) == [(0, 300), (400, 1000)]
    assert holes([], FRAME, 200) == [(0, 1000)]


@given(st.lists(st.tuples(st.integers(0, 1000), st.floats(0, 10)), min_size=1, max_size=400))
def test_no_peak_is_lost_and_no_column_has_more_than_four_points(points: list[tuple[int, float]]) -> None:
    drawn = places(line_path(sorted(points), FRAME, 10_000))
    heights = [y for _, y in drawn]
    values = [value for _, value in points]
    assert min(heights) == pytest.approx(FRAME.y(max(values)), abs=0.051)
    assert max(heights) == pytest.approx(FRAME.y(min(values)), abs=0.051)
    assert len(drawn) <= 4 * 101
