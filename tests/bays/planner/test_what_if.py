"""What if: months made by hand, where the worth of a change follows by reasoning."""

from __future__ import annotations

from dataclasses import replace

import pytest

from bays.planner import Operation, Problem, Vehicle, Window
from bays.planner.other_shop import (
    AddBay,
    AddPerson,
    AddUnit,
    ChangeHours,
    NoSuchThing,
    RemoveBay,
    RemovePerson,
    RemoveUnit,
    other_shop,
)
from bays.planner.trials import Budget
from bays.planner.what_if import Month, compare, outcome, weeks_of
from tests.bays.planner.shop import (
    BAY_1,
    BAY_2,
    LOT,
    MAT,
    ORIGIN,
    ROAD,
    at,
    days,
    surround,
    technician,
)

QUICK = Budget(seconds=0.02, seeds=(1, 2))
WEEKDAYS = 14


def pairs_of_mats(count: int = 8) -> Month:
    """Each day two vehicles come at eight, both promised for 9:15; one mat set, all else double."""
    everyone = [technician(name, "surround", shifts=days(WEEKDAYS)) for name in ("Ada", "Eve")]
    always = {"surround": (Window(0, WEEKDAYS * 1440),)}
    people = tuple(replace(one, skills=always) for one in everyone)
    vehicles = tuple(
        Vehicle(
            f"v{n}", f"v{n}", at(8, 0, n // 2), at(9, 15, n // 2), 1,
            (surround(f"s{n}", placements=("bay-1", "bay-2")),),
        )
        for n in range(count)
    )  # fmt: skip
    problem = Problem(
        origin=ORIGIN,
        now=0,
        horizon=WEEKDAYS * 1440,
        move_minutes=5,
        open=days(WEEKDAYS),
        placements={p.id: p for p in (LOT, ROAD, BAY_1, BAY_2)},
        technicians=people,
        units=(MAT,),
        vehicles=vehicles,
    )
    return Month(problem, weeks_of(0, WEEKDAYS * 1440))


def test_a_second_set_keeps_the_promises_one_set_breaks_and_a_third_nothing_more() -> None:
    month = pairs_of_mats(8)
    changes = [
        ("one more mat set", AddUnit("mat_set"), 1),
        ("two more mat set", AddUnit("mat_set"), 2),
    ]
    found = compare(month, changes, QUICK)
    base, second, third = found.results
    assert (base.kept.middle, second.kept.middle, third.kept.middle) == (4, 8, 8)
    assert base.use["mat set"].middle == pytest.approx(8 * 60 / (WEEKDAYS * 600))
    assert second.use["mat set"].middle == pytest.approx(8 * 60 / (WEEKDAYS * 1200))
    assert found.says.startswith("One more mat set would have kept 4 more promises of 8")
    assert "nothing that is more than chance" in found.says


def test_what_is_not_short_changes_nothing() -> None:
    month = pairs_of_mats(4)
    changes = [
        ("a bay", AddBay(frozenset({"z1"})), 1),
        ("a person", AddPerson("ada"), 1),
    ]
    results = compare(month, changes, QUICK).results
    assert {result.kept.middle for result in results} == {2}


def test_an_hour_more_in_the_morning_keeps_no_promise_of_who_comes_at_eight() -> None:
    month = pairs_of_mats(4)
    base, longer = compare(month, [("earlier", ChangeHours(60, 0), 1)], QUICK).results
    assert longer.kept == base.kept
    assert longer.use["people"].middle < base.use["people"].middle


def test_without_what_everything_needs_nothing_is_planned_and_that_is_told() -> None:
    month = pairs_of_mats(4)
    base, without = compare(month, [("without mats", RemoveUnit("mat-1"), 1)], QUICK).results
    assert (base.not_planned.middle, without.not_planned.middle) == (0, 4)
    assert without.kept.middle == 0


def test_one_bay_and_one_person_less_cost_the_second_set_its_worth() -> None:
    two_sets = other_shop(pairs_of_mats(4).problem, AddUnit("mat_set"))
    month = Month(two_sets, weeks_of(0, WEEKDAYS * 1440))
    changes = [
        ("without Bay 2", RemoveBay(frozenset({"z2"})), 1),
        ("without Ada", RemovePerson("ada"), 1),
    ]
    base, no_bay, nobody = compare(month, changes, QUICK).results
    assert (base.kept.middle, no_bay.kept.middle, nobody.kept.middle) == (4, 2, 2)


def test_work_left_over_is_carried_into_the_next_week() -> None:
    month = pairs_of_mats(2)
    long_job = tuple(
        Operation(f"o{n}", "surround", 480, "surround", ("mat_set",), ("bay-1",)) for n in range(10)
    )
    vehicle = Vehicle("long", "long", at(8), at(18, 0, 13), 1, long_job)
    problem = replace(month.problem, vehicles=(vehicle,))
    found = outcome(problem, month.weeks, 0.02, 1)
    assert (found.kept, found.not_planned) == (1, 0)
    assert found.hours_here > 7 * 24


def test_saturdays_are_fridays_once_more_by_the_shops_clock() -> None:
    friday_only = (Window(at(8, 0, 4), at(18, 0, 4)),)
    ada = technician("Ada", "surround", shifts=friday_only)
    problem = replace(pairs_of_mats(2).problem, open=friday_only, technicians=(ada,))
    wider = other_shop(problem, ChangeHours(saturday=True))
    saturday = Window(at(8, 0, 5), at(18, 0, 5))
    assert wider.open == (*friday_only, saturday)
    assert wider.technicians[0].shifts == (*friday_only, saturday)


def test_who_does_not_begin_at_opening_keeps_their_hours() -> None:
    late = technician("Late", "surround", shifts=(Window(at(9), at(18)),))
    problem = replace(pairs_of_mats(2).problem, technicians=(late,), open=days(1))
    wider = other_shop(problem, ChangeHours(60, 30))
    assert wider.open == (Window(at(7), at(18, 30)),)
    assert wider.technicians[0].shifts == (Window(at(9), at(18, 30)),)


@pytest.mark.parametrize(
    "change",
    [AddUnit("lathe"), RemoveUnit("x"), AddPerson("x"), RemovePerson("x"), AddBay(frozenset("x"))],
)
def test_what_the_shop_does_not_have_is_refused(change: AddUnit) -> None:
    with pytest.raises(NoSuchThing):
        other_shop(pairs_of_mats(2).problem, change)


def test_an_empty_month_is_told_as_that() -> None:
    month = pairs_of_mats(0)
    assert "no vehicle came" in compare(month, [("more", AddUnit("mat_set"), 1)], QUICK).says
