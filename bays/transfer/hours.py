"""The section ``hours``: opening hours and closures."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, time
from typing import Any

from bays.models import Closure, OpeningHours
from bays.services.hours import (
    OpenWanted,
    closure_faults,
    opening_faults,
    put_closure,
    set_opening_hours,
)
from bays.transfer.faults import WEEKDAYS, Entry, Faults
from bays.transfer.sections import Reading, Section
from bays.transfer.summary import Tally
from shopcal.accounts.actor import Actor


@dataclass
class HoursRead:
    """``opening`` None where the file does not speak of it."""

    opening: list[OpenWanted] | None = None
    closures: list[tuple[date, date, str]] = field(default_factory=list)


def read(value: Any, reading: Reading) -> HoursRead:
    faults, found = reading.faults, HoursRead()
    fields = faults.keys(value, "hours", needed=(), may=("opening", "closures"))
    if fields is None:
        return found
    if "opening" in fields:
        found.opening = _opening(fields["opening"], faults)
    if "closures" in fields:
        found.closures = _closures(fields["closures"], faults)
    return found


def _opening(value: Any, faults: Faults) -> list[OpenWanted]:
    rows: list[OpenWanted] = []
    places: list[str] = []
    for entry in faults.entries(value, "hours.opening", needed=("days", "opens", "closes")):
        days = faults.given(entry, "days", faults.weekdays) or []
        opens = faults.given(entry, "opens", faults.clock)
        closes = faults.given(entry, "closes", faults.clock)
        if opens is None or closes is None:
            continue
        for day in days:
            rows.append(OpenWanted(day, opens, closes))
            places.append(entry.path)
    told = set()
    for fault in opening_faults(rows):
        # One entry stands for several days; its fault is told once.
        index, _, name = fault.path.removeprefix("[").partition("].")
        if (places[int(index)], name) not in told:
            told.add((places[int(index)], name))
            faults.note(f"{places[int(index)]}.{name}", fault.says, fault.right)
    return rows


def _closures(value: Any, faults: Faults) -> list[tuple[date, date, str]]:
    found = []
    seen: dict[str, str] = {}
    for entry in faults.entries(value, "hours.closures", needed=("from", "to", "reason")):
        starts_on = faults.given(entry, "from", faults.day)
        ends_on = faults.given(entry, "to", faults.day)
        reason = faults.given(entry, "reason", faults.words)
        if starts_on is None or ends_on is None or reason is None:
            continue
        _once(entry, starts_on, faults, seen)
        if not faults.extend(entry.path, closure_faults(starts_on, ends_on, reason)):
            found.append((starts_on, ends_on, reason))
    return found


def _once(entry: Entry, starts_on: date, faults: Faults, seen: dict[str, str]) -> None:
    day = starts_on.isoformat()
    if day in seen:
        faults.note(f"{entry.path}.from", f"{seen[day]} starts on {day} too")
    seen.setdefault(day, entry.path)


def apply(by: Actor, found: HoursRead, tally: Tally) -> None:
    if found.opening is not None:
        tally.add("opening hours", set_opening_hours(by=by, hours=found.opening))
    for starts_on, ends_on, reason in found.closures:
        closed = put_closure(by=by, starts_on=starts_on, ends_on=ends_on, reason=reason)
        tally.add("closures", closed.outcome)


def export(shop_id: int) -> dict[str, Any] | None:
    days: dict[tuple[time, time], list[int]] = {}
    for row in OpeningHours.objects.for_shop(shop_id).order_by("weekday", "opens"):
        days.setdefault((row.opens, row.closes), []).append(row.weekday)
    told: dict[str, Any] = {}
    if days:
        told["opening"] = [
            {"days": [WEEKDAYS[d] for d in found], "opens": f"{o:%H:%M}", "closes": f"{c:%H:%M}"}
            for (o, c), found in days.items()
        ]
    closures = Closure.objects.for_shop(shop_id).order_by("starts_on", "pk")
    if closures:
        told["closures"] = [
            {"from": c.starts_on.isoformat(), "to": c.ends_on.isoformat(), "reason": c.reason}
            for c in closures
        ]
    return told or None


SECTION = Section("hours", read, apply, export)
