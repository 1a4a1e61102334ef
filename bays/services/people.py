"""Technicians: their skills, shifts and absences."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import astuple, dataclass
from datetime import date, datetime, time
from typing import Any

from django.db import transaction

from bays.models import (
    Absence,
    Resource,
    ResourceKind,
    ShiftPattern,
    Skill,
    Technician,
    TechnicianSkill,
)
from bays.services.checks import (
    aware_faults,
    code_faults,
    locked_shop,
    own,
    refuse_faults,
    refuse_stale,
    text_faults,
)
from bays.services.put import Outcome, Put, put, save_changes
from shopcal.accounts.actor import Actor
from shopcal.accounts.models import Membership
from shopcal.accounts.permissions import Action, require
from shopcal.errors import FieldError
from shopcal.history.record import record_event


@dataclass(frozen=True)
class SkillWanted:
    """A skill by its code, on days from ``valid_from`` to ``valid_until``, both included."""

    skill: str
    valid_from: date | None = None
    valid_until: date | None = None


@dataclass(frozen=True)
class ShiftWanted:
    """Work on one weekday (0 is Monday), in times of the shop's clock."""

    weekday: int
    starts: time
    ends: time
    lunch_starts: time | None = None
    lunch_ends: time | None = None
    valid_from: date | None = None
    valid_until: date | None = None


def validity_faults(path: str, wanted: SkillWanted | ShiftWanted) -> list[FieldError]:
    """A validity that ends before it starts."""
    start, end = wanted.valid_from, wanted.valid_until
    if start and end and end < start:
        return [FieldError(f"{path}valid_until", f"{end} is before {start}", "the last day")]
    return []


def shift_faults(path: str, shift: ShiftWanted) -> list[FieldError]:
    """A shift or a lunch that cannot be."""
    errors = validity_faults(path, shift)
    if not 0 <= shift.weekday <= 6:
        errors.append(FieldError(f"{path}weekday", "is no weekday", "0 Monday … 6 Sunday"))
    if shift.ends <= shift.starts:
        says = f"{shift.ends:%H:%M} is not after {shift.starts:%H:%M}, when the shift starts"
        errors.append(FieldError(f"{path}ends", says, "a time later that day"))
    lunch = (shift.lunch_starts, shift.lunch_ends)
    if (lunch[0] is None) != (lunch[1] is None):
        errors.append(FieldError(f"{path}lunch", "lacks its start or its end"))
    elif lunch[0] and lunch[1] and not shift.starts <= lunch[0] < lunch[1] <= shift.ends:
        says = f"{lunch[0]:%H:%M}–{lunch[1]:%H:%M} is not inside the shift"
        errors.append(FieldError(f"{path}lunch", says))
    return errors


def put_skill(*, by: Actor, code: str, name: str) -> Put:
    """Add a skill, or rename the one with this code.

    Raises:
        NotAllowed: not a manager. Invalid: no such code or name.
    """
    require(by, Action.EDIT_PEOPLE)
    errors = code_faults("code", code) + text_faults("name", name, 120)
    refuse_faults("skill_invalid", "The skill was not saved.", errors)
    with transaction.atomic():
        locked_shop(by)
        return put(by, Skill, "skill", where={"code": code}, values={"name": name.strip()})


def put_technician(*, by: Actor, code: str, name: str, membership: Membership | None = None) -> Put:
    """Add a technician, or change the one with this code; no membership leaves theirs alone.

    Raises:
        NotAllowed: not a manager.
        Invalid: no such code or name; a membership of another shop or another technician.
    """
    require(by, Action.EDIT_PEOPLE)
    errors = code_faults("code", code) + text_faults("name", name, 120)
    errors += _membership_faults(by, code, membership)
    refuse_faults("technician_invalid", "The technician was not saved.", errors)
    values: dict[str, Any] = {"name": name.strip()}
    if membership is not None:
        values["membership_id"] = membership.pk
    with transaction.atomic():
        locked_shop(by)
        resource, _ = Resource.objects.update_or_create(
            shop_id=by.shop_id,
            kind=ResourceKind.PERSON,
            code=code,
            defaults={"name": name.strip()},
        )
        return put(
            by, Technician, "technician", where={"code": code}, values=values,
            only_new={"resource": resource},
        )  # fmt: skip


def add_technician(
    *, by: Actor, code: str, name: str, membership: Membership | None = None
) -> Technician:
    """Add a technician with a code that is still free.

    Raises:
        NotAllowed: not a manager. Invalid: as ``put_technician``, or the code is taken.
    """
    require(by, Action.EDIT_PEOPLE)
    with transaction.atomic():
        locked_shop(by)
        if Technician.objects.for_shop(by.shop_id).filter(code=code).exists():
            errors = [FieldError("code", f"“{code}” is a technician already", "another code")]
            refuse_faults("technician_invalid", "The technician was not saved.", errors)
        made: Technician = put_technician(by=by, code=code, name=name, membership=membership).row
    return made


def set_skills(
    *,
    by: Actor,
    technician: Technician,
    skills: Sequence[SkillWanted],
    version: int | None = None,
) -> Outcome:
    """Set all skills of a technician, in place of those they had.

    Raises:
        NotAllowed: not a manager. NotFound: no technician of this shop.
        Invalid: an unknown skill, one twice, a validity that ends before it starts.
        Stale: ``technician_changed``, someone changed them since ``version``.
    """
    require(by, Action.EDIT_PEOPLE)
    with transaction.atomic():
        person = own(by, technician, "technician")
        refuse_stale(person, version, "technician")
        known = {skill.code: skill for skill in Skill.objects.for_shop(by.shop_id)}
        errors = skill_faults("skills", skills, set(known))
        refuse_faults("skills_invalid", "The skills were not saved.", errors)
        rows = person.skills.select_related("skill")
        now = {SkillWanted(r.skill.code, r.valid_from, r.valid_until) for r in rows}
        if now == set(skills):
            return Outcome.UNCHANGED
        person.skills.all().delete()
        TechnicianSkill.objects.bulk_create(
            TechnicianSkill(
                shop_id=by.shop_id,
                technician=person,
                skill=known[want.skill],
                valid_from=want.valid_from,
                valid_until=want.valid_until,
            )
            for want in skills
        )
        _tell_set(by, person, "skills", sorted(now, key=repr), skills)
    return Outcome.CHANGED


def skill_faults(path: str, skills: Sequence[SkillWanted], known: set[str]) -> list[FieldError]:
    """Skills nobody can have, with paths like ``skills[2].skill``."""
    errors = []
    seen: set[str] = set()
    for index, want in enumerate(skills):
        place = f"{path}[{index}]."
        errors += validity_faults(place, want)
        if want.skill not in known:
            right = f"one of {', '.join(sorted(known))}" if known else "a skill of the shop"
            errors.append(FieldError(f"{place}skill", f"“{want.skill}” is not known", right))
        if want.skill in seen:
            errors.append(FieldError(f"{place}skill", f"“{want.skill}” is there twice"))
        seen.add(want.skill)
    return errors


def set_shifts(
    *,
    by: Actor,
    technician: Technician,
    shifts: Sequence[ShiftWanted],
    version: int | None = None,
) -> Outcome:
    """Set a technician's whole week, in place of the one they had.

    Raises:
        NotAllowed: not a manager. NotFound: no technician of this shop.
        Invalid: a shift or lunch that ends before it starts, or a lunch outside the shift.
        Stale: ``technician_changed``, someone changed them since ``version``.
    """
    require(by, Action.EDIT_PEOPLE)
    errors = [e for i, shift in enumerate(shifts) for e in shift_faults(f"shifts[{i}].", shift)]
    refuse_faults("shifts_invalid", "The shifts were not saved.", errors)
    with transaction.atomic():
        person = own(by, technician, "technician")
        refuse_stale(person, version, "technician")
        now = sorted((_shift(row) for row in person.shifts.all()), key=_order)
        if now == sorted(shifts, key=_order):
            return Outcome.UNCHANGED
        person.shifts.all().delete()
        ShiftPattern.objects.bulk_create(
            ShiftPattern(shop_id=by.shop_id, technician=person, **vars(shift)) for shift in shifts
        )
        _tell_set(by, person, "shifts", now, shifts)
    return Outcome.CHANGED


def record_absence(
    *,
    by: Actor,
    technician: Technician,
    starts_at: datetime,
    ends_at: datetime,
    reason: str = "",
) -> Absence:
    """Record that a technician is away; whoever may plan the day again may record it.

    Raises:
        NotAllowed: neither a service writer nor a manager. NotFound: no technician of this shop.
        Invalid: it ends before it starts, or a time has no time zone.
    """
    require(by, Action.REPLAN)
    errors = aware_faults("starts_at", starts_at) + aware_faults("ends_at", ends_at)
    errors += text_faults("reason", reason, 120, needed=False)
    if not errors and ends_at <= starts_at:
        errors.append(FieldError("ends_at", "is not after the start", "when they are back"))
    refuse_faults("absence_invalid", "The absence was not saved.", errors)
    with transaction.atomic():
        person = own(by, technician, "technician")
        absence = Absence.objects.create(
            shop_id=by.shop_id,
            technician=person,
            starts_at=starts_at,
            ends_at=ends_at,
            reason=reason.strip(),
        )
        record_event(
            by=by,
            kind="technician.absent",
            subject=f"technician:{person.pk}",
            after={
                "from": starts_at.isoformat(), "to": ends_at.isoformat(), "reason": absence.reason,
            },
        )  # fmt: skip
    return absence


def set_active(
    *, by: Actor, technician: Technician, active: bool, version: int | None = None
) -> Technician:
    """Take a technician out of planning, or back in; what is booked with them stays booked.

    Raises:
        NotAllowed: not a manager. NotFound: no technician of this shop. Stale: changed meanwhile.
    """
    require(by, Action.EDIT_PEOPLE)
    with transaction.atomic():
        person = own(by, technician, "technician")
        refuse_stale(person, version, "technician")
        if person.active == active:
            return person
        save_changes(person, {"active": active})
        Resource.objects.filter(pk=person.resource_id).update(active=active)
        record_event(
            by=by,
            kind="technician.activated" if active else "technician.deactivated",
            subject=f"technician:{person.pk}",
            before={"active": not active},
            after={"active": active},
        )
    return person


def deactivate_technician(
    *, by: Actor, technician: Technician, version: int | None = None
) -> Technician:
    """Take a technician out of planning; see ``set_active``."""
    return set_active(by=by, technician=technician, active=False, version=version)


def _membership_faults(by: Actor, code: str, membership: Membership | None) -> list[FieldError]:
    if membership is None:
        return []
    if membership.shop_id != by.shop_id:
        return [FieldError("membership", "is of no member of this shop")]
    taken = Technician.objects.for_shop(by.shop_id).filter(membership=membership)
    if taken.exclude(code=code).exists():
        return [FieldError("membership", "is another technician's already")]
    return []


def _shift(row: ShiftPattern) -> ShiftWanted:
    return ShiftWanted(
        row.weekday, row.starts, row.ends, row.lunch_starts, row.lunch_ends,
        row.valid_from, row.valid_until,
    )  # fmt: skip


def _order(shift: ShiftWanted) -> tuple[str, ...]:
    return tuple(str(part) for part in astuple(shift))


def _tell_set(
    by: Actor, person: Technician, what: str, before: Sequence[Any], after: Sequence[Any]
) -> None:
    save_changes(person, {})
    record_event(
        by=by,
        kind=f"technician.{what}_set",
        subject=f"technician:{person.pk}",
        before={what: [_told(row) for row in before]},
        after={what: [_told(row) for row in after]},
    )


def _told(wanted: Any) -> dict[str, Any]:
    facts = vars(wanted)
    return {
        k: v.isoformat() if hasattr(v, "isoformat") else v
        for k, v in facts.items()
        if v is not None
    }
