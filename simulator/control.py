"""The hand on the invented farm: break and mend things while it runs, and see the true air.

Only for the demo and its tests: it listens on this machine alone and knows nobody's name.
"""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import Body, FastAPI, HTTPException

from simulator import farm
from simulator.clock import FarmClock
from simulator.faults import Fault, FaultBook, FaultKind, parse_fault
from simulator.live import Progress
from simulator.publish import Publisher

TARGETS = frozenset(house.room_id for house in farm.HOUSES)
PROBE_IDS = frozenset(probe.probe_id for probe in farm.PROBES)


def checked_fault(spelling: str, *, from_ms: int) -> Fault:
    """A fault whose target exists on the farm."""
    fault = parse_fault(spelling, from_ms=from_ms)
    known = PROBE_IDS if fault.kind is FaultKind.PROBE else TARGETS
    if fault.target not in known:
        raise ValueError(f"no {fault.target} on the farm; there are {', '.join(sorted(known))}")
    return fault


def control_app(clock: FarmClock, faults: FaultBook, progress: Progress, publisher: Publisher) -> FastAPI:
    """``GET /state``, ``GET /faults``, ``POST /faults``, ``POST /faults/end``."""
    app = FastAPI(title=f"Control of {farm.FARM_NAME} ({farm.INVENTED})")

    @app.get("/state")
    def state() -> dict[str, Any]:
        return {
            "note": farm.INVENTED,
            "farm_now_ms": clock.farm_now_ms(),
            "stepped_to_ms": progress.stepped_to_ms,
            "live": progress.live.is_set(),
            "broker_connected": publisher.connected.is_set(),
            "packs_sent": progress.packs_sent,
            "packs_answered": publisher.answered,
            "rooms": progress.truths,
        }

    @app.get("/faults")
    def listed() -> list[dict[str, Any]]:
        return [_shown(fault) for fault in faults.all()]

    @app.post("/faults", status_code=201)
    def added(fault: Annotated[str, Body(embed=True)]) -> dict[str, Any]:
        try:
            found = checked_fault(fault, from_ms=clock.farm_now_ms())
        except ValueError as error:
            raise HTTPException(422, str(error)) from error
        faults.add(found)
        return _shown(found)

    @app.post("/faults/end")
    def ended(kind: Annotated[FaultKind, Body()], target: Annotated[str, Body()]) -> dict[str, Any]:
        now_ms = clock.farm_now_ms()
        return {"ended": faults.end(kind, target, now_ms), "at_ms": now_ms}

    return app


def _shown(fault: Fault) -> dict[str, Any]:
    return {
        "kind": fault.kind.value,
        "target": fault.target,
        "start_ms": fault.start_ms,
        "end_ms": fault.end_ms,
    }
