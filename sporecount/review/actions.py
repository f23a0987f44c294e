"""What a person does in a review, one action at a time, and how actions are undone."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from sporecount.detect.table import STATES
from sporecount.review.errors import ReviewError

#: What can be done: agree with a detection, say that it is none, say what state it is in, add
#: one that was missed, take one apart, join several to one; say that the whole photo was looked
#: through, or take that back.
CONFIRM, REJECT, STATE, ADD, PART, JOIN = "confirm", "reject", "state", "add", "part", "join"
CLOSE, REOPEN = "close", "reopen"
UNDO, REDO = "undo", "redo"
KINDS = (CONFIRM, REJECT, STATE, ADD, PART, JOIN, CLOSE, REOPEN, UNDO, REDO)

#: Least number of detections that each kind is about, and of new ones it makes.
_NEEDS: dict[str, tuple[int, int]] = {
    CONFIRM: (1, 0),
    REJECT: (1, 0),
    STATE: (1, 0),
    ADD: (0, 1),
    PART: (1, 2),
    JOIN: (2, 1),
}


@dataclass(frozen=True)
class Action:
    """One action of a review.

    Attributes
    ----------
    kind : str
        One of ``KINDS``.
    targets : tuple of str
        Ids of the detections it is about: ``t1`` is the tool's first, ``p1`` the first that
        a person made.
    state : str or None
        The state said, for ``STATE``.
    made : tuple of dict
        New detections: id and the columns of `sporecount.detect.table.COLUMNS` that are known.
    who : str
        The person.
    at : str
        When, ISO 8601 with the time zone.
    note : str
        Anything else.
    """

    kind: str
    targets: tuple[str, ...] = ()
    state: str | None = None
    made: tuple[Mapping[str, Any], ...] = ()
    who: str = ""
    at: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise ReviewError(f"action {self.kind!r}", "there is no such", _choice(KINDS))
        if self.kind == STATE and self.state not in STATES:
            raise ReviewError(f"state {self.state!r}", "there is no such", _choice(STATES))
        targets, made = _NEEDS.get(self.kind, (0, 0))
        if len(self.targets) < targets or len(self.made) < made:
            raise ReviewError(
                f"action {self.kind!r} on {len(self.targets)} detections, making {len(self.made)}",
                f"it needs at least {targets} and {made}",
                "choose more detections first" if targets else "say where the new one lies",
            )

    def as_json(self) -> str:
        """Return it as one line, without what is empty."""
        kept = {name: value for name, value in vars(self).items() if value}
        return json.dumps(kept, ensure_ascii=False, allow_nan=False)

    @classmethod
    def from_json(cls, entry: Mapping[str, Any]) -> Action:
        """Make it from a parsed line.

        Raises
        ------
        ReviewError
            If it is no action.
        """
        known = set(cls.__dataclass_fields__)
        if unknown := sorted(set(entry) - known):
            raise ReviewError(
                f"an action with {', '.join(unknown)}",
                "this version does not know that",
                "use the version of sporecount that wrote it, or a newer one",
            )
        values = dict(entry)
        values["targets"] = tuple(values.get("targets", ()))
        values["made"] = tuple(values.get("made", ()))
        return cls(**values)


def effective(actions: Iterable[Action]) -> list[Action]:
    """Return what still holds after undoing and redoing, in order.

    Examples
    --------
    >>> said = [Action("reject", ("t1",)), Action("reject", ("t2",)), Action("undo")]
    >>> [action.targets for action in effective(said)]
    [('t1',)]
    >>> [action.targets for action in effective([*said, Action("redo")])]
    [('t1',), ('t2',)]
    """
    return _history(actions)[0]


def undoable(actions: Iterable[Action]) -> tuple[Action | None, Action | None]:
    """Return the action that undoing would take back, and the one that redoing would bring back."""
    done, undone = _history(actions)
    return (done[-1] if done else None), (undone[-1] if undone else None)


def _history(actions: Iterable[Action]) -> tuple[list[Action], list[Action]]:
    done: list[Action] = []
    undone: list[Action] = []
    for action in actions:
        if action.kind == UNDO:
            if done:
                undone.append(done.pop())
        elif action.kind == REDO:
            if undone:
                done.append(undone.pop())
        else:
            done.append(action)
            undone.clear()
    return done, undone


def _choice(names: Iterable[str]) -> str:
    return f"take one of {', '.join(names)}"
