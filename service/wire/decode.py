"""The door: one message in, all that it says out. Never raises, whatever the bytes are."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from rules.model import CONTACTS, Instant, ProbeId
from service.messages import Decoded, Incoming, Reason, Rejected
from service.wire.bare import parse_number, parse_state
from service.wire.gathering import Gathering, quantity_of
from service.wire.mapped import decode_mapped
from service.wire.packs import decode_pack
from service.wire.sources import Source
from service.wire.syntax import MESSAGE_BYTES, read_text
from service.wire.topics import PROBE_ID_RULE, Address, is_marker, parse_topic, probe_id
from service.wire.unusable import UnusableError, quoted


def decode(incoming: Incoming, *, prefix: str, farm: str, sources: Sequence[Source] = ()) -> Decoded:
    """Say what one message means. A mapped source goes first: somebody wrote that down on purpose."""
    if is_marker(incoming.topic, prefix=prefix, farm=farm):
        return Decoded()
    for source in sources:
        named = source.probe_in(incoming.topic)
        if named is not None:
            return _decode_source(source, named, incoming)
    address = parse_topic(incoming.topic, prefix=prefix, farm=farm)
    if address is None:
        return _not_understood(incoming.topic)
    if len(incoming.payload) > MESSAGE_BYTES:
        return _too_large(incoming.payload, address.probe)
    if address.probe is not None and address.quantity is not None:
        return _decode_bare(address.probe, address.quantity, incoming)
    return _decode_pack(address, incoming)


def decode_senml_body(body: bytes, *, content_type: str | None, received_ms: Instant) -> Decoded:
    """Say what a pack sent by HTTP means; its names are probe/quantity, as on the farm's own topic."""
    if len(body) > MESSAGE_BYTES:
        return _too_large(body, None)
    cbor = _says_cbor(content_type)
    return decode_pack(body, received_ms=received_ms, probe=None, cbor=cbor, retained=False)


def _decode_source(source: Source, named: str, incoming: Incoming) -> Decoded:
    probe = probe_id(named)
    if probe is None:
        return _not_understood(incoming.topic)
    if len(incoming.payload) > MESSAGE_BYTES:
        return _too_large(incoming.payload, probe)
    named_gateway = source.gateway_in(incoming.topic)
    gateway = None if named_gateway is None else probe_id(named_gateway)
    return replace(decode_mapped(source, probe, incoming), gateway=gateway)


def _decode_pack(address: Address, incoming: Incoming) -> Decoded:
    return decode_pack(
        incoming.payload,
        received_ms=incoming.received_ms,
        probe=address.probe,
        cbor=address.cbor or _says_cbor(incoming.content_type),
        retained=incoming.retained,
    )


def _decode_bare(probe: ProbeId, name: str, incoming: Incoming) -> Decoded:
    gathering = Gathering()
    gathering.hear(probe)
    try:
        quantity = quantity_of(name)
        if incoming.retained:
            # The broker replays its copy at every connection, however old; only the probe's existence is news.
            gathering.odd(Reason.RETAINED.value)
            return gathering.decoded()
        text = read_text(incoming.payload)
        number = parse_state(text) if quantity in CONTACTS else parse_number(text)
        gathering.keep(probe, quantity, number, None, incoming.received_ms, timed=False)
    except UnusableError as error:
        gathering.reject(error, probe)
    return gathering.decoded()


def _says_cbor(content_type: str | None) -> bool:
    """Say whether a content type declares CBOR; parameters after a semicolon do not matter."""
    media_type = (content_type or "").partition(";")[0].strip().lower()
    return media_type.endswith(("+cbor", "/cbor"))


def _not_understood(topic: str) -> Decoded:
    return Decoded(rejected=(Rejected(reason=Reason.TOPIC, detail=f"{quoted(topic)}; {PROBE_ID_RULE}"),))


def _too_large(payload: bytes, probe: ProbeId | None) -> Decoded:
    detail = f"{len(payload)} bytes, at most {MESSAGE_BYTES}"
    heard = frozenset() if probe is None else frozenset({probe})
    return Decoded(rejected=(Rejected(reason=Reason.TOO_LARGE, detail=detail, probe=probe),), heard=heard)
