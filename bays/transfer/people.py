"""The sections ``skills`` and ``people``: who may do what, and when they work."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from django.core.exceptions import ValidationError
from django.core.validators import validate_email

from bays.models import Skill, Technician
from bays.services.people import (
    ShiftWanted,
    SkillWanted,
    put_skill,
    put_technician,
    set_active,
    set_shifts,
    set_skills,
    shift_faults,
    skill_faults,
)
from bays.services.put import Outcome
from bays.transfer.faults import WEEKDAYS, Entry, Faults
from bays.transfer.sections import Reading, Section
from bays.transfer.summary import Tally
from shopcal.accounts.actor import Actor, Role
from shopcal.accounts.models import Membership
from shopcal.accounts.services.members import add_member

_MAY = ("email", "active", "skills", "shifts")
_SHIFT_MAY = ("lunch", "valid_from", "valid_until")


@dataclass(frozen=True)
class PersonRead:
    """One technician; None where the file does not speak of it."""

    code: str
    name: str
    email: str | None
    active: bool | None
    skills: list[SkillWanted] | None
    shifts: list[ShiftWanted] | None


def read_skills(value: Any, reading: Reading) -> list[tuple[str, str]]:
    faults = reading.faults
    found = []
    seen: dict[str, str] = {}
    for entry in faults.entries(value, "skills", needed=("code", "name")):
        code = faults.given(entry, "code", faults.code)
        name = faults.given(entry, "name", faults.words)
        faults.once(f"{entry.path}.code", code, seen)
        if code is not None:
            reading.known("skill", [code])
            found.append((code, name or ""))
    return found


def apply_skills(by: Actor, found: list[tuple[str, str]], tally: Tally) -> None:
    for code, name in found:
        tally.add("skills", put_skill(by=by, code=code, name=name).outcome)


def export_skills(shop_id: int) -> list[dict[str, Any]] | None:
    rows = Skill.objects.for_shop(shop_id).order_by("code")
    return [{"code": row.code, "name": row.name} for row in rows] or None


def read(value: Any, reading: Reading) -> list[PersonRead]:
    faults = reading.faults
    fields = faults.keys(value, "people", needed=(), may=("technicians",))
    stored = Skill.objects.for_shop(reading.shop_id).values_list("code", flat=True)
    known = reading.known("skill", stored)
    found = []
    codes: dict[str, str] = {}
    emails: dict[str, str] = {}
    for entry in faults.entries(
        (fields or {}).get("technicians", []), "people.technicians",
        needed=("code", "name"), may=_MAY,
    ):  # fmt: skip
        code = faults.given(entry, "code", faults.code)
        name = faults.given(entry, "name", faults.words)
        email = _email(entry, faults, emails)
        if code is not None and email is not None:
            _note_taken(entry, reading, code, email)
        faults.once(f"{entry.path}.code", code, codes)
        person = PersonRead(
            code=code or "",
            name=name or "",
            email=email,
            active=faults.given(entry, "active", faults.flag),
            skills=_skills(entry, faults, known) if "skills" in entry.fields else None,
            shifts=_shifts(entry, faults) if "shifts" in entry.fields else None,
        )
        found.append(person)
    return found


def _email(entry: Entry, faults: Faults, seen: dict[str, str]) -> str | None:
    email = faults.given(entry, "email", lambda v, p: faults.words(v, p, at_most=254))
    if email is None:
        return None
    email = email.strip().lower()
    path = f"{entry.path}.email"
    try:
        validate_email(email)
    except ValidationError:
        faults.note(path, f"“{email:.60}” is no email address", "name@shop.example")
        return None
    if email in seen:
        faults.note(path, f"“{email}” is the address of {seen[email]} too")
    seen.setdefault(email, entry.path)
    return email


def _note_taken(entry: Entry, reading: Reading, code: str, email: str) -> None:
    holder = (
        Technician.objects.for_shop(reading.shop_id)
        .filter(membership__user__email=email)
        .exclude(code=code)
        .first()
    )
    if holder is not None:
        says = f"“{email}” is the address of {holder.name} ({holder.code}) already"
        reading.faults.note(f"{entry.path}.email", says)


def _skills(entry: Entry, faults: Faults, known: set[str]) -> list[SkillWanted]:
    path = f"{entry.path}.skills"
    wanted = []
    for row in faults.entries(
        entry.fields["skills"], path, needed=("skill",), may=("valid_from", "valid_until")
    ):
        code = faults.given(row, "skill", faults.code)
        starts = faults.given(row, "valid_from", faults.day)
        ends = faults.given(row, "valid_until", faults.day)
        if code is not None:
            want = SkillWanted(code, starts, ends)
            wanted.append(want)
            errors = skill_faults("", [want], known)
            faults.extend(row.path, [_at_row(error) for error in errors])
            if [w.skill for w in wanted].count(code) > 1:
                faults.note(f"{row.path}.skill", f"“{code}” is there twice")
    return wanted


def _at_row(error: Any) -> Any:
    """A fault of the only row of a list, as a fault of the row."""
    return type(error)(error.path.removeprefix("[0]."), error.says, error.right)


def _shifts(entry: Entry, faults: Faults) -> list[ShiftWanted]:
    found: list[ShiftWanted] = []
    for row in faults.entries(
        entry.fields["shifts"], f"{entry.path}.shifts",
        needed=("days", "starts", "ends"), may=_SHIFT_MAY,
    ):  # fmt: skip
        days = faults.given(row, "days", faults.weekdays) or []
        starts = faults.given(row, "starts", faults.clock)
        ends = faults.given(row, "ends", faults.clock)
        lunch = _lunch(row, faults)
        valid_from = faults.given(row, "valid_from", faults.day)
        valid_until = faults.given(row, "valid_until", faults.day)
        if starts is None or ends is None:
            continue
        shifts = [
            ShiftWanted(day, starts, ends, lunch[0], lunch[1], valid_from, valid_until)
            for day in days
        ]
        faults.extend(row.path, shift_faults("", shifts[0]) if shifts else [])
        found += shifts
    return found


def _lunch(row: Entry, faults: Faults) -> tuple[Any, Any]:
    value, path = row.fields.get("lunch"), f"{row.path}.lunch"
    if "lunch" not in row.fields:
        return None, None
    if not isinstance(value, list) or len(value) != 2:
        faults.note(path, "is no pair of times", '["12:00", "12:30"]')
        return None, None
    starts, ends = (faults.clock(part, f"{path}[{i}]") for i, part in enumerate(value))
    return (starts, ends) if starts and ends else (None, None)


def apply(by: Actor, found: list[PersonRead], tally: Tally) -> None:
    for person in found:
        membership = _membership(by, person) if person.email else None
        made = put_technician(by=by, code=person.code, name=person.name, membership=membership)
        outcomes = [made.outcome]
        if person.skills is not None:
            outcomes.append(set_skills(by=by, technician=made.row, skills=person.skills))
        if person.shifts is not None:
            outcomes.append(set_shifts(by=by, technician=made.row, shifts=person.shifts))
        if person.active is not None and person.active != made.row.active:
            set_active(by=by, technician=made.row, active=person.active)
            outcomes.append(Outcome.CHANGED)
        tally.add("technicians", *outcomes)


def _membership(by: Actor, person: PersonRead) -> Membership:
    """The person's place in the shop, as it is; someone who has none joins as a technician."""
    email = person.email or ""
    found = Membership.objects.for_shop(by.shop_id).filter(user__email=email).first()
    return found or add_member(email=email, name=person.name, role=Role.TECHNICIAN, by=by)


def export(shop_id: int) -> dict[str, Any] | None:
    rows = (
        Technician.objects.for_shop(shop_id)
        .select_related("membership__user")
        .prefetch_related("skills__skill", "shifts")
        .order_by("code")
    )
    told = [_technician(row) for row in rows]
    return {"technicians": told} if told else None


def _technician(row: Technician) -> dict[str, Any]:
    told: dict[str, Any] = {"code": row.code, "name": row.name}
    if row.membership is not None:
        told["email"] = row.membership.user.email
    if not row.active:
        told["active"] = False
    held = sorted(row.skills.all(), key=lambda held: held.skill.code)
    told["skills"] = [{"skill": h.skill.code, **_validity(h)} for h in held]
    told["shifts"] = list(_shift_rows(row))
    return told


def _shift_rows(technician: Technician) -> Iterator[dict[str, Any]]:
    """The week, with days that are alike told together."""
    days: dict[tuple[Any, ...], list[int]] = {}
    for s in sorted(technician.shifts.all(), key=lambda s: (s.weekday, s.starts, s.pk)):
        alike = (s.starts, s.ends, s.lunch_starts, s.lunch_ends, *_validity(s).items())
        days.setdefault(alike, []).append(s.weekday)
    for (starts, ends, lunch_starts, lunch_ends, *validity), found in days.items():
        told: dict[str, Any] = {
            "days": [WEEKDAYS[day] for day in found],
            "starts": f"{starts:%H:%M}",
            "ends": f"{ends:%H:%M}",
        }
        if lunch_starts:
            told["lunch"] = [f"{lunch_starts:%H:%M}", f"{lunch_ends:%H:%M}"]
        yield told | dict(validity)


def _validity(row: Any) -> dict[str, str]:
    dates = {"valid_from": row.valid_from, "valid_until": row.valid_until}
    return {name: day.isoformat() for name, day in dates.items() if day}


SKILLS = Section("skills", read_skills, apply_skills, export_skills)
SECTION = Section("people", read, apply, export)
