"""Upkeep rules of a piece of equipment and where it stands against them.

A rule counts calendar days of the shop, uses, or both; whichever ends first counts. On the
due day itself the unit is still fit; it is overdue from the day after. After the last use a
rule allows, none is left and the unit is overdue at once.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from typing import Final

MONTHS: Final = (
    "January", "February", "March", "April", "May", "June", "July",
    "August", "September", "October", "November", "December",
)  # fmt: skip


class UpkeepRefused(ValueError):
    """A rule or a history that contradicts itself; `right` says what would be right."""

    def __init__(self, code: str, says: str, right: str) -> None:
        super().__init__(says)
        self.code = code
        self.says = says
        self.right = right


class DueState(StrEnum):
    FIT = "fit"
    DUE_SOON = "due soon"
    OVERDUE = "overdue"


@dataclass(frozen=True)
class Rule:
    """`name` is what is to be done, such as "inspection".

    Raises:
        UpkeepRefused: neither days nor uses, a count below 1, a negative warning.
    """

    id: str
    name: str
    every_days: int | None
    every_uses: int | None
    warn_days: int = 14
    warn_uses: int = 0

    def __post_init__(self) -> None:
        counts = [n for n in (self.every_days, self.every_uses) if n is not None]
        if not counts:
            right = "a number of days, of uses, or both"
            raise UpkeepRefused("no_interval", f"{self.name} is never due", right)
        if min(counts) < 1 or min(self.warn_days, self.warn_uses) < 0:
            right = "intervals of at least 1, warnings of at least 0"
            raise UpkeepRefused("interval", f"{self.name} has a count that cannot be", right)


@dataclass(frozen=True)
class Done:
    """Upkeep done on a shop day, when the unit's counter stood at `uses_at`."""

    on: date
    uses_at: int


@dataclass(frozen=True)
class History:
    """What happened to a unit under one rule. Uses count up from 0 at commissioning.

    Raises:
        UpkeepRefused: upkeep before commissioning, or a counter that ran backwards.
    """

    commissioned_on: date
    done: tuple[Done, ...]
    uses_now: int

    def __post_init__(self) -> None:
        ordered = sorted(self.done, key=lambda done: (done.on, done.uses_at))
        if ordered and ordered[0].on < self.commissioned_on:
            right = "a date from the day the unit was commissioned"
            raise UpkeepRefused("too_early", "upkeep was done before commissioning", right)
        counters = [0, *(done.uses_at for done in ordered), self.uses_now]
        if counters != sorted(counters):
            right = "counts that never fall; a new counter is a new unit"
            raise UpkeepRefused("counter", "the counter of uses ran backwards", right)

    def last(self, today: date | None = None) -> Done:
        """The last upkeep, up to `today` where given; else the commissioning."""
        past = [done for done in self.done if today is None or done.on <= today]
        start = Done(self.commissioned_on, 0)
        return max(past, key=lambda done: (done.on, done.uses_at), default=start)


@dataclass(frozen=True)
class Due:
    """`due_on` is the last fit day by the calendar; `uses_left` is never below 0."""

    state: DueState
    due_on: date | None
    uses_left: int | None
    says: str


def status(rule: Rule, history: History, today: date) -> Due:
    """Where a unit stands against one rule on a day of the shop.

    Upkeep entered with a date after `today` is planned, not done, and does not count.
    """
    last = history.last(today)
    due_on = due_date(rule, last)
    over_uses = None if rule.every_uses is None else history.uses_now - last.uses_at
    left = None if over_uses is None or rule.every_uses is None else rule.every_uses - over_uses
    parts = (by_date(due_on, today, rule.warn_days), _by_uses(left, rule.warn_uses))
    state = max((part[0] for part in parts if part), key=list(DueState).index)
    # What makes it overdue comes first: it is what must be acted on.
    told = sorted((part for part in parts if part), key=lambda part: part[0] is not state)
    says = f"{rule.name} {told[0][1]}" + "".join(f", {part[1]}" for part in told[1:])
    return Due(state, due_on, None if left is None else max(left, 0), says)


def due_date(rule: Rule, last: Done) -> date | None:
    """The last fit day, or None if the rule counts no days or the calendar ends before it."""
    if rule.every_days is None:
        return None
    try:
        return last.on + timedelta(days=rule.every_days)
    except OverflowError:
        return None


def by_date(due_on: date | None, today: date, warn_days: int) -> tuple[DueState, str] | None:
    """Where a last fit day stands, and in words: "due on 3 March"; None where there is no day."""
    if due_on is None:
        return None
    days = (due_on - today).days
    if days < 0:
        return DueState.OVERDUE, f"overdue since {day_words(due_on + timedelta(1), today)}"
    state = DueState.DUE_SOON if days <= warn_days else DueState.FIT
    if state is DueState.FIT:
        return state, f"due on {day_words(due_on, today)}"
    near = {0: "due today", 1: "due tomorrow"}
    return state, near.get(days, f"due in {days} days")


def _by_uses(left: int | None, warn_uses: int) -> tuple[DueState, str] | None:
    if left is None:
        return None
    if left <= 0:
        beyond = f", {counted(-left)} too many" if left < 0 else ""
        return DueState.OVERDUE, f"overdue: no uses left{beyond}"
    state = DueState.DUE_SOON if left <= warn_uses else DueState.FIT
    return state, f"{counted(left)} left"


def counted(uses: int) -> str:
    return "1 use" if uses == 1 else f"{uses} uses"


def day_words(day: date, today: date) -> str:
    """ "3 March", with the year when it is not this one."""
    year = "" if day.year == today.year else f" {day.year}"
    return f"{day.day} {MONTHS[day.month - 1]}{year}"
