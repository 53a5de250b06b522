"""Topics: which probe and quantity a message is about, and which filters to subscribe to.

    <prefix>/<farm>                       a SenML pack; names are probe/quantity
    <prefix>/<farm>/<probe>               a SenML pack; the last part of a name is the quantity
    <prefix>/<farm>/<probe>/<quantity>    a bare number
    <prefix>/<farm>/_marker/<client>      our own marker, see ``marker_topic``

A pack's topic may end in ``/cbor``; so no probe can be called "cbor". A topic level that starts with an
underscore is ours, so no probe id starts with one.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from rules.model import ProbeId

PROBE_ID_CHARACTERS: Final = 64
PROBE_ID_RULE: Final = (
    f"a probe id is 1 to {PROBE_ID_CHARACTERS} letters, digits, spaces and - : . _, "
    "beginning with a letter or digit"
)

_TOPIC_BYTES: Final = 65_535
"""MQTT 5.0 sec. 1.5.4: a string is prefixed by its length in two bytes."""

_MARKER: Final = "_marker"
_CBOR: Final = "cbor"


@dataclass(frozen=True, slots=True, kw_only=True)
class Address:
    """What one of our own topics says. Without a probe the names in the pack carry it."""

    probe: ProbeId | None = None
    quantity: str | None = None
    """Present for a bare number: the topic's last level, not yet known to be one of our quantities."""
    cbor: bool = False


def probe_id(text: str) -> ProbeId | None:
    """Return the text as a probe id, or None when it cannot be one (see ``PROBE_ID_RULE``)."""
    allowed = (
        0 < len(text) <= PROBE_ID_CHARACTERS
        and text[0].isalnum()
        and text[-1] != " "
        and all(character.isalnum() or character in "-:._ " for character in text)
        # Two spellings of one accented letter would be two probes that look the same.
        and unicodedata.is_normalized("NFC", text)
    )
    return ProbeId(text) if allowed and text != _CBOR else None


def is_topic_name(text: str) -> bool:
    """Say whether MQTT allows this as the name of a topic (MQTT 5.0 sec. 4.7.1 and 4.7.3)."""
    if not text or any(character in text for character in "+#\0"):
        return False
    try:
        return len(text.encode()) <= _TOPIC_BYTES
    except UnicodeEncodeError:
        return False


def parse_topic(topic: str, *, prefix: str, farm: str) -> Address | None:
    """Read one of our own topics; None when it is not one, or names an impossible probe."""
    base = f"{prefix}/{farm}"
    if topic in {base, f"{base}/{_CBOR}"}:
        return Address(cbor=topic != base)
    named, *rest = topic.removeprefix(base + "/").split("/")
    probe = probe_id(named) if topic.startswith(base + "/") else None
    if probe is None or len(rest) > 1:
        return None
    last = rest[0] if rest else None
    return Address(probe=probe, cbor=True) if last == _CBOR else Address(probe=probe, quantity=last)


def marker_topic(prefix: str, farm: str, client: str) -> str:
    """Where ingest publishes its own marker after connecting: once it returns, everything queued has been seen."""
    return f"{prefix}/{farm}/{_MARKER}/{client}"


def is_marker(topic: str, *, prefix: str, farm: str) -> bool:
    """Say whether the topic is a marker of ours, of this or another run."""
    return topic.startswith(f"{prefix}/{farm}/{_MARKER}/")


def subscriptions(prefix: str, farm: str, mapped: Iterable[str] = ()) -> tuple[str, ...]:
    """Return the filters to subscribe to: our own tree, then those of mapped sources.

    The whole tree is asked for, so that a probe that publishes one level too deep is shown as not understood
    instead of never being heard. A mapped filter inside our tree is left out: overlapping filters may bring
    the same message twice (MQTT 5.0 sec. 3.3.4).
    """
    base = f"{prefix}/{farm}"
    outside = (f for f in mapped if f != base and not f.startswith(base + "/"))
    return (f"{base}/#", *dict.fromkeys(outside))
