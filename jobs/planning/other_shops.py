"""What a manager may change in “what if”, by the codes of the shop, and as the planner's change."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from bays.convert.planner import person_key, unit_key, zone_key
from bays.models import EquipmentType, EquipmentUnit
from bays.planner.other_shop import (
    AddBay,
    AddPerson,
    AddUnit,
    Change,
    ChangeHours,
    RemoveBay,
    RemovePerson,
    RemoveUnit,
)
from bays.selectors.calendar import technicians
from bays.selectors.floor import current_floor
from shopcal.errors import FieldError, Invalid, NotFound

MOST_MINUTES = 180
# What may be added is tried once and twice, so that it shows where more of it gains no more.
ORDINALS = ("one more", "two more")


@dataclass(frozen=True)
class Choice:
    """One thing to change: its code in a question, in words, and under which heading."""

    code: str
    words: str
    heading: str


@dataclass(frozen=True)
class Wanted:
    """A question resolved: in words, and each other shop as name, change and how often."""

    asks: str
    changes: tuple[tuple[str, Change, int], ...]


def choices(shop_id: int) -> tuple[Choice, ...]:
    """Everything that can be added or taken away in this shop."""
    types = EquipmentType.objects.for_shop(shop_id).filter(exclusive=True).order_by("name")
    units = (
        EquipmentUnit.objects.for_shop(shop_id)
        .filter(type__exclusive=True)
        .order_by("type__name", "code")
    )
    people = list(technicians(shop_id))
    bays = _bays(shop_id)
    return (
        *(Choice(f"add_unit:{t.code}", f"one more: {t.name}", "Add equipment") for t in types
          if any(unit.type_id == t.pk for unit in units)),
        *(Choice(f"add_person:{p.code}", f"somebody like {p.name}", "Add a technician")
          for p in people),
        *(Choice(f"add_bay:{code}", f"one more like {name}", "Add a bay")
          for code, name, _ in bays),
        *(Choice(f"remove_unit:{u.code}", f"without {u.name}", "Take away") for u in units),
        *(Choice(f"remove_person:{p.code}", f"without {p.name}", "Take away") for p in people),
        *(Choice(f"remove_bay:{code}", f"without {name}", "Take away") for code, name, _ in bays),
    )  # fmt: skip


def _bays(shop_id: int) -> list[tuple[str, str, frozenset[str]]]:
    """Bays with their zones; a shop without a floor plan has none."""
    try:
        bays = current_floor(shop_id).plan.bays
    except NotFound:
        return []
    return [(bay.id, bay.name, frozenset(map(zone_key, bay.zones))) for bay in bays]


def wanted(shop_id: int, question: dict[str, Any]) -> Wanted:
    """The other shops a question asks for.

    ``question`` has ``change``, a code out of ``choices``, or ``hours`` with the minutes
    ``earlier_minutes`` and ``later_minutes`` and ``saturday``.

    Raises:
        Invalid: nothing or nonsense is asked.
    """
    if question.get("change") != "hours":
        return _thing(shop_id, str(question.get("change", "")))
    earlier, later = (int(question.get(f"{name}_minutes") or 0) for name in ("earlier", "later"))
    saturday = bool(question.get("saturday"))
    faults = [
        FieldError(f"{name}_minutes", f"{minutes} minutes is too much", f"at most {MOST_MINUTES}")
        for name, minutes in (("earlier", earlier), ("later", later))
        if abs(minutes) > MOST_MINUTES
    ]
    if not (earlier or later or saturday):
        faults = [
            FieldError("earlier_minutes", "no other hours are given", "minutes, or Saturdays")
        ]
    if faults:
        raise Invalid("what_if", "This cannot be asked.", errors=faults)
    name = _hours_words(earlier, later, saturday)
    return Wanted(f"What if {name}?", ((name, ChangeHours(earlier, later, saturday), 1),))


def _hours_words(earlier: int, later: int, saturday: bool) -> str:
    parts = []
    if earlier:
        parts.append(f"opening {abs(earlier)} minutes {'earlier' if earlier > 0 else 'later'}")
    if later:
        parts.append(f"closing {abs(later)} minutes {'later' if later > 0 else 'earlier'}")
    if saturday:
        parts.append("opening on Saturdays")
    return " and ".join(parts)


def _thing(shop_id: int, code: str) -> Wanted:
    known = {choice.code: choice for choice in choices(shop_id)}
    if code not in known:
        fault = FieldError(
            "change", "there is no such thing here to change", "choose from the list"
        )
        raise Invalid("what_if", "This cannot be asked.", errors=[fault])
    act, _, name = code.partition(":")
    if act.startswith("add_"):
        noun = _noun(shop_id, act, name)
        change = _added(shop_id, act, name)
        named: Sequence[tuple[str, Change, int]] = [
            (f"{ordinal} {noun}", change, times) for times, ordinal in enumerate(ORDINALS, start=1)
        ]
        return Wanted(f"What if there were {ORDINALS[0]} {noun}?", tuple(named))
    words = known[code].words
    return Wanted(f"What if it were {words}?", ((words, _removed(shop_id, act, name), 1),))


def _noun(shop_id: int, act: str, name: str) -> str:
    if act == "add_unit":
        title = EquipmentType.objects.for_shop(shop_id).get(code=name).name
        return title[:1].lower() + title[1:]
    if act == "add_person":
        return f"like {next(p.name for p in technicians(shop_id) if p.code == name)}"
    return f"bay like {next(title for code, title, _ in _bays(shop_id) if code == name)}"


def _added(shop_id: int, act: str, name: str) -> Change:
    if act == "add_unit":
        return AddUnit(name)
    if act == "add_person":
        return AddPerson(person_key(name))
    return AddBay(next(zones for code, _, zones in _bays(shop_id) if code == name))


def _removed(shop_id: int, act: str, name: str) -> Change:
    if act == "remove_unit":
        return RemoveUnit(unit_key(name))
    if act == "remove_person":
        return RemovePerson(person_key(name))
    return RemoveBay(next(zones for code, _, zones in _bays(shop_id) if code == name))
