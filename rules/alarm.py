"""The life of one alarm, as one table.

The states and moves are those of the ANSI/ISA-18.2 (IEC 62682) alarm state model, as redrawn in open
documentation; the bought standard was not opened. A row says where it was seen: ``read`` in such a drawing,
``from memory`` where only recalled, ``ours`` where the farm needs a word the model has no arrow for.

The rules this file lives by:

1. Nothing else in Houseband changes an alarm's state. Everybody, machine or person, asks :func:`move`.
2. A pair that is not in the table raises :class:`IllegalMove`, and the state does not move.
3. The column ``tells`` says what people hear of a move. Whether a text goes out at once or waits for the
   morning sheet is decided from it later; a move that tells nothing can never cause a text.
4. Leaving "shelved", "suppressed" or "out of service" is judged afresh by the condition at that moment.
5. The latching rows stand in the table for the day when an alarm must be reset by hand. No limit uses them.

An alarm is known by (room, quantity, side). Growers never see these words: on pages and in texts an alarm is
"open", somebody is "going", it is "back in band".
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final


class State(StrEnum):
    """Where an alarm is in its life."""

    NORMAL = "normal"
    UNACKNOWLEDGED = "unacknowledged"
    ACKNOWLEDGED = "acknowledged"
    RETURNED_UNACKNOWLEDGED = "returned-to-normal unacknowledged"
    SHELVED = "shelved"
    SUPPRESSED = "suppressed by design"
    OUT_OF_SERVICE = "out of service"
    LATCHING_UNACKNOWLEDGED = "unacknowledged (latching)"
    LATCHED_UNACKNOWLEDGED = "latched unacknowledged"
    LATCHED_ACKNOWLEDGED = "latched acknowledged"


class Happens(StrEnum):
    """What can happen to an alarm."""

    RAISED = "condition true (after on-delay)"
    RAISED_AGAIN = "condition true again"
    DEEPENED = "far limit passed"
    CLEARED = "condition clears"
    ACKNOWLEDGED = "acknowledge"
    SHELVED = "shelve"
    UNSHELVED = "shelving time ends or unshelve"
    SUPPRESSED = "suppress by design"
    UNSUPPRESSED = "design condition ends"
    REMOVED = "remove from service"
    RETURNED = "return to service"
    RESET = "reset"


class Tells(StrEnum):
    """What people hear of a move."""

    NOTHING = "nothing"
    TROUBLE = "trouble"
    DEEPER = "deeper"
    BACK = "back"
    BY_CONDITION = "trouble if it still holds"


class Basis(StrEnum):
    """Where a row of the table was seen."""

    READ = "read"
    FROM_MEMORY = "from memory"
    OURS = "ours"


@dataclass(frozen=True, slots=True)
class Row:
    """One arrow of the model. ``to`` is ``None`` when the condition at that moment decides."""

    to: State | None
    tells: Tells
    basis: Basis


class IllegalMove(ValueError):  # noqa: N818 - reads as the sentence it is
    """What happened cannot happen to an alarm in this state. The alarm has not moved."""


_S, _H, _T, _B = State, Happens, Tells, Basis

TABLE: Final[dict[tuple[State, Happens], Row]] = {
    (_S.NORMAL, _H.RAISED): Row(_S.UNACKNOWLEDGED, _T.TROUBLE, _B.READ),
    (_S.UNACKNOWLEDGED, _H.ACKNOWLEDGED): Row(_S.ACKNOWLEDGED, _T.NOTHING, _B.READ),
    (_S.UNACKNOWLEDGED, _H.CLEARED): Row(_S.RETURNED_UNACKNOWLEDGED, _T.BACK, _B.READ),
    (_S.ACKNOWLEDGED, _H.CLEARED): Row(_S.NORMAL, _T.BACK, _B.READ),
    (_S.RETURNED_UNACKNOWLEDGED, _H.ACKNOWLEDGED): Row(_S.NORMAL, _T.NOTHING, _B.FROM_MEMORY),
    (_S.RETURNED_UNACKNOWLEDGED, _H.RAISED_AGAIN): Row(_S.UNACKNOWLEDGED, _T.TROUBLE, _B.FROM_MEMORY),
    (_S.UNACKNOWLEDGED, _H.DEEPENED): Row(_S.UNACKNOWLEDGED, _T.DEEPER, _B.OURS),
    (_S.ACKNOWLEDGED, _H.DEEPENED): Row(_S.ACKNOWLEDGED, _T.DEEPER, _B.OURS),
    (_S.NORMAL, _H.SHELVED): Row(_S.SHELVED, _T.NOTHING, _B.READ),
    (_S.UNACKNOWLEDGED, _H.SHELVED): Row(_S.SHELVED, _T.NOTHING, _B.READ),
    (_S.ACKNOWLEDGED, _H.SHELVED): Row(_S.SHELVED, _T.NOTHING, _B.READ),
    (_S.SHELVED, _H.UNSHELVED): Row(None, _T.BY_CONDITION, _B.FROM_MEMORY),
    (_S.RETURNED_UNACKNOWLEDGED, _H.SHELVED): Row(_S.SHELVED, _T.NOTHING, _B.OURS),
    (_S.NORMAL, _H.SUPPRESSED): Row(_S.SUPPRESSED, _T.NOTHING, _B.READ),
    (_S.UNACKNOWLEDGED, _H.SUPPRESSED): Row(_S.SUPPRESSED, _T.NOTHING, _B.READ),
    (_S.ACKNOWLEDGED, _H.SUPPRESSED): Row(_S.SUPPRESSED, _T.NOTHING, _B.READ),
    (_S.RETURNED_UNACKNOWLEDGED, _H.SUPPRESSED): Row(_S.SUPPRESSED, _T.NOTHING, _B.OURS),
    (_S.SUPPRESSED, _H.UNSUPPRESSED): Row(None, _T.BY_CONDITION, _B.FROM_MEMORY),
    (_S.NORMAL, _H.REMOVED): Row(_S.OUT_OF_SERVICE, _T.NOTHING, _B.READ),
    (_S.UNACKNOWLEDGED, _H.REMOVED): Row(_S.OUT_OF_SERVICE, _T.NOTHING, _B.READ),
    (_S.ACKNOWLEDGED, _H.REMOVED): Row(_S.OUT_OF_SERVICE, _T.NOTHING, _B.FROM_MEMORY),
    (_S.OUT_OF_SERVICE, _H.RETURNED): Row(None, _T.BY_CONDITION, _B.FROM_MEMORY),
    (_S.LATCHING_UNACKNOWLEDGED, _H.CLEARED): Row(_S.LATCHED_UNACKNOWLEDGED, _T.NOTHING, _B.FROM_MEMORY),
    (_S.LATCHED_UNACKNOWLEDGED, _H.ACKNOWLEDGED): Row(_S.LATCHED_ACKNOWLEDGED, _T.NOTHING, _B.FROM_MEMORY),
    (_S.LATCHED_ACKNOWLEDGED, _H.RESET): Row(_S.NORMAL, _T.NOTHING, _B.FROM_MEMORY),
}

OPEN: Final = frozenset({State.UNACKNOWLEDGED, State.ACKNOWLEDGED, State.LATCHING_UNACKNOWLEDGED})
"""States in which the limit is passed and somebody should know."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Moved:
    """The result of a move: the new state, and what people hear of it."""

    to: State
    tells: Tells


def move(state: State, happens: Happens, *, beyond_now: bool = False) -> Moved:
    """Return where ``happens`` takes an alarm that is in ``state``.

    Args:
        state: where the alarm is.
        happens: what happened to it.
        beyond_now: whether the limit is passed at this moment; only read by the rows judged afresh.

    Raises:
        IllegalMove: the table has no such pair.
    """
    row = TABLE.get((state, happens))
    if row is None:
        raise IllegalMove(f"{happens.value!r} cannot happen to an alarm that is {state.value!r}")
    if row.to is not None:
        return Moved(to=row.to, tells=row.tells)
    if beyond_now:
        return Moved(to=State.UNACKNOWLEDGED, tells=Tells.TROUBLE)
    return Moved(to=State.NORMAL, tells=Tells.NOTHING)


def when_beyond(state: State) -> Happens | None:
    """What a condition that has become true is called in ``state``; ``None`` when it changes nothing."""
    return next((h for h in (Happens.RAISED, Happens.RAISED_AGAIN) if (state, h) in TABLE), None)
