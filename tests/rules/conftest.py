"""Which tests must reach every branch of ``rules/`` between them.

Not those whose examples a library chooses: another version of it would choose others. And not those that walk
through whole nights: every line they reach is reached by a smaller test, and measuring would make them three times
as slow. ``make test`` measures the rest, and fails when a branch is left out.
"""

from __future__ import annotations

from pathlib import Path
from typing import Final

import pytest
from hypothesis import is_hypothesis_test

HERE: Final = Path(__file__).parent
WHOLE_NIGHTS: Final = {"test_every_stage.py", "test_judging_portions.py", "test_scenarios.py"}


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if HERE in item.path.parents and isinstance(item, pytest.Function) and _covers(item):
            item.add_marker("covers")


def _covers(item: pytest.Function) -> bool:
    pure = item.get_closest_marker("pure") is not None
    return pure and item.path.name not in WHOLE_NIGHTS and not is_hypothesis_test(item.obj)
