"""Settings for property tests: the same examples on every machine and every run, few enough to be quick."""

from __future__ import annotations

from hypothesis import HealthCheck, settings

STEADY = settings(
    derandomize=True,
    deadline=None,
    database=None,
    max_examples=30,
    suppress_health_check=[HealthCheck.too_slow],
)
