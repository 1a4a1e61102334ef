"""Technicians, opening hours and closures."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta

import pytest
from django.utils import timezone

from bays.models import Absence, Closure, OpeningHours, Resource, Technician, TechnicianSkill
from bays.services.hours import OpenWanted, add_closure, remove_closure, set_opening_hours
from bays.services.people import (
    ShiftWanted,
    SkillWanted,
    add_technician,
    deactivate_technician,
    put_skill,
    put_technician,
    record_absence,
    set_active,
    set_shifts,
    set_skills,
)
from bays.services.put import Outcome
from shopcal.errors import Invalid, NotAllowed, NotFound, Stale
from shopcal.history.models import Event
from tests.conftest import Person

pytestmark = pytest.mark.django_db

DAY = ShiftWanted(0, time(8), time(16, 30), time(12), time(12, 30))


@pytest.fixture
def osei(manager: Person) -> Technician:
    put_skill(by=manager.actor, code="scan", name="Scans")
    return add_technician(by=manager.actor, code="osei", name="R. Osei")


def test_a_technician_gets_a_resource_that_follows_the_name(
    manager: Person, osei: Technician
) -> None:
    put_technician(by=manager.actor, code="osei", name="Rose Osei")
    assert Resource.objects.get(kind="person").name == "Rose Osei"
    assert Technician.objects.get().name == "Rose Osei"


def test_a_membership_belongs_to_one_technician_of_the_same_shop(
    manager: Person, technician: Person, other_manager: Person, osei: Technician
) -> None:
    put_technician(by=manager.actor, code="osei", name="R. Osei", membership=technician.membership)
    for membership in (technician.membership, other_manager.membership):
        with pytest.raises(Invalid) as refused:
            add_technician(by=manager.actor, code="lind", name="M. Lind", membership=membership)
        assert [e.path for e in refused.value.errors] == ["membership"]
    assert Technician.objects.count() == 1


def test_skills_are_set_as_a_whole_and_only_when_they_differ(
    manager: Person, osei: Technician
) -> None:
    wanted = [SkillWanted("scan", valid_until=date(2027, 1, 1))]
    assert set_skills(by=manager.actor, technician=osei, skills=wanted) is Outcome.CHANGED
    events = Event.objects.count()
    assert set_skills(by=manager.actor, technician=osei, skills=wanted) is Outcome.UNCHANGED
    assert Event.objects.count() == events
    assert TechnicianSkill.objects.get().valid_until == date(2027, 1, 1)
    set_skills(by=manager.actor, technician=osei, skills=[])
    assert not TechnicianSkill.objects.exists()


def test_unknown_and_doubled_skills_are_told(manager: Person, osei: Technician) -> None:
    wanted = [SkillWanted("scan"), SkillWanted("scan"), SkillWanted("welding")]
    with pytest.raises(Invalid) as refused:
        set_skills(by=manager.actor, technician=osei, skills=wanted)
    assert [e.path for e in refused.value.errors] == ["skills[1].skill", "skills[2].skill"]


@pytest.mark.parametrize(
    ("shift", "path"),
    [
        (ShiftWanted(7, time(8), time(9)), "shifts[0].weekday"),
        (ShiftWanted(0, time(8), time(8)), "shifts[0].ends"),
        (ShiftWanted(0, time(8), time(9), time(8, 30)), "shifts[0].lunch"),
        (ShiftWanted(0, time(8), time(9), time(8, 30), time(9, 30)), "shifts[0].lunch"),
        (
            ShiftWanted(0, time(8), time(9), None, None, date(2026, 2, 1), date(2026, 1, 1)),
            "shifts[0].valid_until",
        ),
    ],
)
def test_a_shift_that_cannot_be_is_refused(
    manager: Person, osei: Technician, shift: ShiftWanted, path: str
) -> None:
    with pytest.raises(Invalid) as refused:
        set_shifts(by=manager.actor, technician=osei, shifts=[shift])
    assert [e.path for e in refused.value.errors] == [path]


def test_an_old_version_is_stale_for_skills_shifts_and_leaving(
    manager: Person, osei: Technician
) -> None:
    by = manager.actor
    set_shifts(by=by, technician=osei, shifts=[DAY], version=1)
    for act in (
        lambda: set_shifts(by=by, technician=osei, shifts=[], version=1),
        lambda: set_skills(by=by, technician=osei, skills=[], version=1),
        lambda: deactivate_technician(by=by, technician=osei, version=1),
    ):
        with pytest.raises(Stale):
            act()
    assert osei.shifts.count() == 1


def test_a_technician_leaves_and_comes_back(manager: Person, osei: Technician) -> None:
    assert not deactivate_technician(by=manager.actor, technician=osei).active
    assert not Resource.objects.get(kind="person").active
    assert set_active(by=manager.actor, technician=osei, active=True).active
    assert Resource.objects.get(kind="person").active


def test_the_desk_records_an_absence(service_writer: Person, osei: Technician) -> None:
    now = timezone.now()
    record_absence(
        by=service_writer.actor,
        technician=osei,
        starts_at=now,
        ends_at=now + timedelta(hours=4),
        reason="ill",
    )
    assert Absence.objects.get().reason == "ill"
    assert Event.objects.filter(kind="technician.absent").count() == 1


def test_an_absence_that_cannot_be_is_refused(manager: Person, osei: Technician) -> None:
    now = timezone.now()
    for ends_at in (now, now - timedelta(hours=1), datetime(2099, 1, 1)):
        with pytest.raises(Invalid) as refused:
            record_absence(by=manager.actor, technician=osei, starts_at=now, ends_at=ends_at)
        assert [e.path for e in refused.value.errors] == ["ends_at"]
    assert not Absence.objects.exists()


def test_another_shops_technician_is_not_found(other_manager: Person, osei: Technician) -> None:
    by, now = other_manager.actor, timezone.now()
    for act in (
        lambda: set_skills(by=by, technician=osei, skills=[]),
        lambda: set_shifts(by=by, technician=osei, shifts=[DAY]),
        lambda: deactivate_technician(by=by, technician=osei),
        lambda: record_absence(
            by=by, technician=osei, starts_at=now, ends_at=now + timedelta(hours=1)
        ),
    ):
        with pytest.raises(NotFound):
            act()


def test_a_technician_changes_neither_people_nor_hours(
    technician: Person, osei: Technician
) -> None:
    by, now = technician.actor, timezone.now()
    for act in (
        lambda: add_technician(by=by, code="x", name="X"),
        lambda: put_skill(by=by, code="x", name="X"),
        lambda: set_skills(by=by, technician=osei, skills=[]),
        lambda: set_shifts(by=by, technician=osei, shifts=[]),
        lambda: set_active(by=by, technician=osei, active=False),
        lambda: record_absence(by=by, technician=osei, starts_at=now, ends_at=now),
        lambda: set_opening_hours(by=by, hours=[]),
        lambda: add_closure(
            by=by, starts_on=date(2026, 1, 1), ends_on=date(2026, 1, 1), reason="x"
        ),
    ):
        with pytest.raises(NotAllowed):
            act()


def test_opening_hours_are_one_week_and_change_only_when_they_differ(manager: Person) -> None:
    week = [OpenWanted(1, time(13), time(17)), OpenWanted(1, time(8), time(12))]
    assert set_opening_hours(by=manager.actor, hours=week) is Outcome.ADDED
    assert set_opening_hours(by=manager.actor, hours=week[::-1]) is Outcome.UNCHANGED
    assert set_opening_hours(by=manager.actor, hours=week[:1]) is Outcome.CHANGED
    assert OpeningHours.objects.count() == 1


def test_hours_that_overlap_or_end_first_are_told(manager: Person) -> None:
    week = [
        OpenWanted(0, time(8), time(12)),
        OpenWanted(0, time(11), time(17)),
        OpenWanted(1, time(9), time(8)),
    ]
    with pytest.raises(Invalid) as refused:
        set_opening_hours(by=manager.actor, hours=week)
    assert {e.path for e in refused.value.errors} == {"[1].opens", "[2].closes"}
    assert not OpeningHours.objects.exists()


def test_a_closure_is_changed_by_its_first_day_and_removed(
    manager: Person, other_manager: Person
) -> None:
    first = date(2026, 12, 25)
    add_closure(by=manager.actor, starts_on=first, ends_on=first, reason="Holiday")
    closure = add_closure(
        by=manager.actor, starts_on=first, ends_on=date(2026, 12, 26), reason="Holiday"
    )
    assert Closure.objects.get().ends_on == date(2026, 12, 26)
    with pytest.raises(NotFound):
        remove_closure(by=other_manager.actor, closure=closure)
    remove_closure(by=manager.actor, closure=closure)
    assert not Closure.objects.exists()
    with pytest.raises(Invalid):
        add_closure(by=manager.actor, starts_on=first, ends_on=date(2026, 1, 1), reason="x")
