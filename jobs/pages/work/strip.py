"""The strip on top: where this vehicle stands between its first scan and the keys."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from enum import IntEnum


class Place(IntEnum):
    """The six places of the strip, in order."""

    PRE_SCAN = 0
    BEFORE = 1
    SET_OUT = 2
    RUN = 3
    POST_SCAN = 4
    HAND_OVER = 5


WORDS = {
    Place.PRE_SCAN: "Pre-scan",
    Place.BEFORE: "Before you start",
    Place.SET_OUT: "Set out",
    Place.RUN: "Run",
    Place.POST_SCAN: "Post-scan",
    Place.HAND_OVER: "Hand over",
}


@dataclass(frozen=True)
class StripStep:
    word: str
    state: str  # done, on, stop or ""


def strip(
    now: Place | None, *, stopped: bool = False, skipped: Collection[Place] = ()
) -> list[StripStep]:
    """Everything before ``now`` done; None when all of it is. ``skipped`` places do not occur."""
    steps = []
    for place in Place:
        if place in skipped:
            continue
        if now is None or place < now:
            state = "done"
        elif place == now:
            state = "stop" if stopped else "on"
        else:
            state = ""
        steps.append(StripStep(WORDS[place], state))
    return steps
