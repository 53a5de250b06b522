"""Phrases of the list of who was told and what they said."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True, kw_only=True)
class TrailPhrases:
    """All phrases of one language."""

    line: str
    way: Mapping[str, str]
    about: Mapping[str, str]
    """By kind of notice."""
    state: Mapping[str, str]
    receipt: Mapping[str, str]
    again: str
    farm: str
    """Who is told by a lamp or a machine's address."""


ENGLISH_TRAIL: Final = TrailPhrases(
    line="{time}: {way} to {name}{again}, {what}: {state}.",
    way={
        "text": "text",
        "voice": "call",
        "mail": "mail",
        "webhook": "message",
        "lamp": "lamp or siren",
        "wide": "message",
    },
    about={
        "trouble": "trouble",
        "deeper": "worse",
        "also": "one more limit",
        "danger": "danger to people",
        "back": "back",
        "held": "held back",
        "taken": "somebody is going",
        "no improvement": "no better since somebody went",
        "look after": "somebody is not out",
        "came out": "they are out",
        "silence": "not heard",
        "heard": "heard again",
        "site": "the whole farm",
        "site back": "the whole farm back",
    },
    state={
        "waiting": "not gone out yet",
        "sent": "sent",
        "gave up": "not delivered",
        "missed": "too late, not sent",
        "cancelled": "not sent",
        "unsure": "may have arrived",
    },
    receipt={"delivered": "delivered {time}", "failed": "not delivered, {time}"},
    again=" again",
    farm="the farm",
)
