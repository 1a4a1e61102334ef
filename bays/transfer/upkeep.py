"""A unit's ``upkeep_done``: what was done under which rule on which day.

``done_on`` is a day; ``days_ago`` counts back from the day of the import, for a file to look
around with, and is used only where the unit has no upkeep under that rule yet.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any

from django.utils import timezone

from bays.models import EquipmentUnit, UpkeepDone, UpkeepRule
from bays.services.put import Outcome
from bays.services.upkeep import record_upkeep
from bays.transfer.faults import Entry
from bays.transfer.sections import Reading
from shopcal.accounts.actor import Actor

# Entries of one unit on one day; more are not told apart.
MOST_A_DAY = 60

_MAY = ("done_on", "days_ago", "result", "note", "done_by")


@dataclass(frozen=True)
class DoneRead:
    """One entry; ``only_first`` for one that counts back from today."""

    rule: str
    done_on: date
    only_first: bool
    result: str
    note: str
    done_by: str


def read_done(
    unit: Entry, reading: Reading, known: set[str], commissioned_on: date
) -> list[DoneRead]:
    faults = reading.faults
    today = timezone.now().astimezone(reading.zone).date()
    found = []
    value, path = unit.fields.get("upkeep_done", []), f"{unit.path}.upkeep_done"
    for row in faults.entries(value, path, needed=("rule",), may=_MAY):
        rule = faults.given(row, "rule", faults.code)
        if rule is not None and rule not in known:
            right = f"one of {', '.join(sorted(known))}" if known else "this type has no rule"
            faults.note(f"{row.path}.rule", f"“{rule}” is no upkeep rule of this type", right)
        done_on = _day(row, reading, today)
        if done_on and done_on > today:
            faults.note(f"{row.path}.done_on", f"{done_on} has not come yet")
        if done_on and done_on < commissioned_on:
            says = f"{done_on} is before the unit was commissioned on {commissioned_on}"
            faults.note(f"{row.path}.{'days_ago' if _relative(row) else 'done_on'}", says)
        result = row.fields.get("result", "fit")
        faults.choice(result, f"{row.path}.result", UpkeepDone.Result.values)
        note = faults.given(row, "note", lambda v, p: faults.words(v, p, at_most=400))
        done_by = faults.given(row, "done_by", lambda v, p: faults.words(v, p, at_most=150))
        if rule is not None and done_on is not None:
            found.append(
                DoneRead(rule, done_on, _relative(row), str(result), note or "", done_by or "")
            )
    return found


def _relative(row: Entry) -> bool:
    return "days_ago" in row.fields


def _day(row: Entry, reading: Reading, today: date) -> date | None:
    faults = reading.faults
    if _relative(row) == ("done_on" in row.fields):
        faults.note(row.path, "needs either done_on or days_ago", "done_on: 2026-03-31")
        return None
    if not _relative(row):
        return faults.given(row, "done_on", faults.day)
    days = faults.given(row, "days_ago", faults.count)
    if days is not None and days > 36_500:
        faults.note(f"{row.path}.days_ago", f"is {days}", "at most 36500")
        return None
    return None if days is None else today - timedelta(days=days)


def bring_in(by: Actor, unit: EquipmentUnit, wanted: list[DoneRead]) -> list[Outcome]:
    """Record what is not there yet. A rule, a day and a result name one entry."""
    rules = {rule.code: rule for rule in UpkeepRule.objects.filter(equipment_type_id=unit.type_id)}
    present = Counter(
        (done.rule.code, _local_day(done, unit), str(done.result))
        for done in unit.upkeep_done.select_related("rule")
    )
    had = {rule for rule, _, _ in present}
    nth: Counter[date] = Counter()
    new = []
    for want in wanted:
        nth[want.done_on] += 1
        if want.only_first and want.rule in had:
            continue
        if present[want.rule, want.done_on, want.result] > 0:
            present[want.rule, want.done_on, want.result] -= 1
            continue
        new.append((_moment(unit, want.done_on, nth[want.done_on]), want))
    # The newest first: an old "not fit" must not take out a unit that was found fit since.
    for done_at, want in sorted(new, key=lambda pair: pair[0], reverse=True):
        record_upkeep(
            by=by,
            unit=unit,
            rule=rules[want.rule],
            result=want.result,
            note=want.note,
            done_at=done_at,
            done_by=want.done_by,
        )
    return [Outcome.CHANGED] * len(new)


def _moment(unit: EquipmentUnit, day: date, nth: int) -> datetime:
    """Noon of that day, or just before now if noon has not come, seconds apart in their order."""
    noon = datetime.combine(day, time(12), tzinfo=unit.shop.zone)
    return min(noon, timezone.now() - timedelta(seconds=MOST_A_DAY)) + timedelta(seconds=nth)


def _local_day(done: UpkeepDone, unit: EquipmentUnit) -> date:
    return done.done_at.astimezone(unit.shop.zone).date()


def told_done(unit: EquipmentUnit) -> list[dict[str, Any]]:
    """The unit's history, the oldest first; who did it is named for the record."""
    rows = sorted(unit.upkeep_done.all(), key=lambda done: (done.done_at, done.pk))
    told = []
    for done in rows:
        entry = {"rule": done.rule.code, "done_on": _local_day(done, unit).isoformat()}
        if done.result != UpkeepDone.Result.FIT:
            entry["result"] = str(done.result)
        if done.note:
            entry["note"] = done.note
        told.append(entry | {"done_by": done.done_by})
    return told
