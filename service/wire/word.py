"""What people answer, whatever the language and the way."""

from __future__ import annotations

from enum import StrEnum


class Word(StrEnum):
    """The meaning of an answer."""

    GOING = "going"
    OUT = "out"
    CANNOT = "cannot"
    WORKING = "working"
    PROBE = "probe"
    """It was the probe, not the air."""
    FIXED = "fixed"
    WHY = "why"
    STATUS = "status"
    HERE = "here"
    """The answer to a test text."""
    STAGE = "stage"
    """A crop has come to another stage."""
