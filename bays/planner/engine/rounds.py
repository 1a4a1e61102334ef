"""One worker's share of a search, in seconds or in turns."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass

from bays.planner.engine.bits import Words
from bays.planner.engine.facts import Facts
from bays.planner.engine.ruin import Mood, State, search

# A round is done in bites, so that it ends when its time does.
BITES = 8
FIRST_BITE = 40


@dataclass(frozen=True, slots=True)
class Budget:
    """Stop after seconds, or after so many turns for each worker, which always gives the same.

    `clock` tells the seconds a worker has used.
    """

    seconds: float = 0.0
    turns: int | None = None
    clock: Callable[[], float] = time.monotonic


def run_round(
    facts: Facts,
    state: State,
    desk: Words,
    mood: Mood,
    budget: Budget,
    begun: float,
    done: float,
) -> None:
    """One share of the search, in bites that end when its time does."""
    if budget.turns is not None:
        turns = round(budget.turns * done) - round(budget.turns * begun)
        search(facts, state, desk, mood, begun, done, turns)
        return
    seconds = budget.seconds * (done - begun)
    started = budget.clock()
    bite, used, passed = FIRST_BITE, 0.0, begun
    while used < seconds:
        upto = begun + (done - begun) * min(1.0, used / seconds + 1 / BITES)
        search(facts, state, desk, mood, passed, upto, bite)
        before, used = used, budget.clock() - started
        passed = begun + (done - begun) * min(1.0, used / seconds)
        took = max(used - before, 1e-6)
        left = min(seconds / BITES, seconds - used)
        bite = max(1, min(4 * bite, int(bite * left / took)))
