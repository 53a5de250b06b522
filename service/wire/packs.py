"""What a SenML pack says about probes."""

from __future__ import annotations

from rules.model import CONTACTS, Instant, ProbeId
from service.messages import Decoded, Reason
from service.wire.gathering import Gathering, quantity_of
from service.wire.plausible import check_time
from service.wire.senml import VERSION_WITH_SECONDARY_UNITS, Pack, Record, resolve
from service.wire.syntax import looks_like_cbor, parse_cbor, parse_json
from service.wire.topics import PROBE_ID_RULE, probe_id
from service.wire.units import SECONDARY, check_unit
from service.wire.unusable import UnusableError, quoted


def decode_pack(
    payload: bytes, *, received_ms: Instant, probe: ProbeId | None, cbor: bool, retained: bool
) -> Decoded:
    """Decode a pack; without a probe its names carry it. ``cbor`` says that the sender declared CBOR."""
    gathering = Gathering()
    if probe is not None:
        gathering.hear(probe)
    try:
        parsed = parse_cbor(payload) if cbor or looks_like_cbor(payload) else parse_json(payload)
        pack = resolve(parsed, received_ms=received_ms)
    except UnusableError as error:
        gathering.reject(error, probe)
        return gathering.decoded()
    for broken in pack.broken:
        named = probe or _probe_named(broken.name)
        _hear(gathering, named)
        gathering.reject(broken.error, named)
    for record in pack.records:
        _gather(gathering, record, pack, probe or _probe_named(record.name), received_ms, retained=retained)
    return gathering.decoded()


def _hear(gathering: Gathering, probe: ProbeId | None) -> None:
    if probe is not None:
        gathering.hear(probe)


def _gather(
    gathering: Gathering,
    record: Record,
    pack: Pack,
    probe: ProbeId | None,
    received_ms: Instant,
    *,
    retained: bool,
) -> None:
    if probe is None:
        gathering.reject(UnusableError(Reason.NAME, f"{quoted(record.name)}: {PROBE_ID_RULE}"))
        return
    gathering.hear(probe)
    if retained and record.counted_from_now:
        gathering.odd(Reason.RETAINED.value)
        return
    try:
        _check_record_time(record, received_ms)
        _keep(gathering, record, pack, probe)
    except UnusableError as error:
        gathering.reject(error, probe)


def _keep(gathering: Gathering, record: Record, pack: Pack, probe: ProbeId) -> None:
    quantity = quantity_of(record.name[_last_part(record.name) :])
    if isinstance(record.value, str) or (isinstance(record.value, bool) and quantity not in CONTACTS):
        raise UnusableError(Reason.NOT_A_NUMBER, f"{quantity}: {quoted(record.value)}")
    check_unit(quantity, record.unit)
    timed = not record.counted_from_now
    gathering.keep(probe, quantity, float(record.value), record.unit, record.at_ms, timed=timed)
    if record.unit in SECONDARY and pack.version != VERSION_WITH_SECONDARY_UNITS:
        gathering.odd(f"{record.unit} without bver {VERSION_WITH_SECONDARY_UNITS}")


def _check_record_time(record: Record, received_ms: Instant) -> None:
    """Refuse times that cannot be right.

    A time counted forward from now is for things to be done; nothing measured it. A clock that restarted in 1970
    looks exactly so, as its seconds are still below 2**28.
    """
    if record.counted_from_now and record.at_ms > received_ms:
        ahead_s = (record.at_ms - received_ms) / 1000
        raise UnusableError(Reason.CLOCK_WRONG, f"{ahead_s:g} s since 1970, or from now")
    check_time(record.at_ms, received_ms)


def _last_part(name: str) -> int:
    """Return where the quantity begins in a name: after the last slash or colon."""
    return max(name.rfind("/"), name.rfind(":")) + 1


def _probe_named(name: str) -> ProbeId | None:
    return probe_id(name[: max(_last_part(name) - 1, 0)])
