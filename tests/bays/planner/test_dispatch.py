"""Plans by promised time: what is chosen, and the four different answers."""

from __future__ import annotations

from dataclasses import replace

import pytest

from bays.planner import (
    Infeasible,
    ModelError,
    NotProved,
    Operation,
    Plan,
    Problem,
    Row,
    Technician,
    Unit,
    Vehicle,
    Window,
    dispatch,
    verify,
)

from .shop import (
    ADA,
    ALWAYS,
    BAY_1,
    BAY_2,
    BRAM,
    LOT,
    ROAD,
    SCANNERS,
    at,
    camera,
    days,
    drive,
    scan,
    shop,
    surround,
    vehicle,
)


def plan(problem: Problem) -> dict[tuple[str, str], Row]:
    answer = dispatch(problem)
    assert isinstance(answer, Plan), answer
    assert verify(problem, answer) == []
    return {row.key: row for row in answer.rows}


def test_the_earlier_promise_goes_first() -> None:
    later = vehicle("later", surround(), due=at(16))
    sooner = vehicle("sooner", surround(), due=at(12))
    rows = plan(shop(later, sooner))
    assert rows["sooner", "surround"].start == at(8, 10)
    assert rows["later", "surround"].start == at(9, 10)


def test_a_move_takes_its_time_and_the_road_none() -> None:
    rows = plan(shop(vehicle("a", scan(), camera(), drive())))
    assert rows["a", "scan"].start == at(8)
    assert rows["a", "camera"].start == rows["a", "scan"].end + 10
    assert rows["a", "drive"].start == rows["a", "camera"].end


def test_a_long_wait_is_spent_in_the_lot_so_that_the_bay_is_free() -> None:
    waits = vehicle("waits", camera(), camera("again", lag=240), due=at(9))
    uses = vehicle("uses", camera(placements=("bay-1",)), due=at(17))
    rows = plan(shop(waits, uses))
    assert rows["waits", "camera"].placement == "bay-1"
    assert rows["waits", "camera"].park_after
    assert rows["uses", "camera"].start == rows["waits", "camera"].end


def test_a_short_wait_is_spent_in_the_bay() -> None:
    rows = plan(shop(vehicle("waits", camera(), camera("again", lag=30))))
    assert not rows["waits", "camera"].park_after
    assert rows["waits", "again"].placement == rows["waits", "camera"].placement


def test_a_lag_runs_through_the_night() -> None:
    rows = plan(shop(vehicle("a", scan(), scan("next", lag=12 * 60), release=at(17, 45))))
    assert rows["a", "next"].start == at(8, 0, day=1)


def test_an_operation_never_spans_lunch_or_closing() -> None:
    lunch = (*days(4, at(8), at(12)), *days(4, at(12, 30), at(18)))
    problem = shop(
        vehicle("noon", camera(), release=at(11, 20)),
        vehicle("night", camera(), release=at(17, 30)),
        technicians=tuple(replace(t, shifts=lunch) for t in (ADA, BRAM)),
    )
    rows = plan(problem)
    assert rows["noon", "camera"].start == at(12, 30)
    assert rows["night", "camera"].start == at(8, 0, day=1)


def test_a_second_person_helps_only_for_the_first_minutes() -> None:
    helped = vehicle("helped", camera(second_person_minutes=10), due=at(9))
    alone = vehicle("alone", camera("solo"), due=at(10))
    rows = plan(shop(helped, alone))
    assert rows["helped", "camera"].second_person not in (None, rows["helped", "camera"].technician)
    assert rows["alone", "solo"].start == rows["helped", "camera"].start + 10


def test_two_units_of_one_type_are_two_different_units() -> None:
    rows = plan(shop(vehicle("a", camera(equipment=("frame", "frame")))))
    assert sorted(rows["a", "camera"].units) == ["frame-1", "frame-2"]


def test_a_unit_out_of_service_is_passed_over_until_it_is_back() -> None:
    mat = Unit("mat-1", "mat_set", "Mat set 1", (Window(at(8), at(10)),))
    rows = plan(shop(vehicle("a", surround()), units=(mat, *SCANNERS)))
    assert rows["a", "surround"].start == at(10)


def test_a_skill_counts_only_while_it_is_valid() -> None:
    lapsed = Technician("ada", "Ada", {"surround": (Window(at(11), at(18)),)}, days(4))
    rows = plan(shop(vehicle("a", surround()), technicians=(lapsed, BRAM)))
    assert rows["a", "surround"].start == at(11)


def test_pinned_rows_stay_and_the_rest_goes_around_them() -> None:
    pin = Row("a", "camera", at(11, 3), at(11, 43), "ada", None, ("frame-1",), "bay-1")
    problem = shop(vehicle("a", scan(), camera(), scan("after")), pins=(pin,))
    rows = plan(problem)
    assert replace(rows["a", "camera"], park_after=False) == pin
    assert rows["a", "after"].start == at(11, 45)


@pytest.mark.parametrize(
    ("operation", "says"),
    [
        (surround(skill="welding"), "nobody here has the skill welding"),
        (surround(placements=()), "no floor is large enough for Surround view"),
        (surround(equipment=("laser",)), "the shop has no laser"),
        (surround(minutes=700), "nobody with the skill surround is on shift"),
    ],
)
def test_what_can_never_be_done_is_infeasible_and_says_why(operation: Operation, says: str) -> None:
    answer = dispatch(shop(vehicle("a", operation)))
    assert isinstance(answer, Infeasible)
    assert says in answer.binding.says
    assert answer.binding.frees_at is None


def test_a_full_shop_is_not_proved_rather_than_infeasible() -> None:
    crowd = [vehicle(str(n), surround(minutes=300), weight=1) for n in range(9)]
    answer = dispatch(shop(*crowd))
    assert isinstance(answer, NotProved)
    assert answer.binding.says


@pytest.mark.parametrize(
    ("problem", "fault"),
    [
        (shop(vehicle("a")), "RO a: no operations"),
        (shop(vehicle("a", scan()), vehicle("a", scan())), "vehicle a twice"),
        (shop(vehicle("a", camera(placements=("attic",)))), "no placement attic"),
        (shop(vehicle("a", scan(minutes=0))), "takes no time"),
        (shop(placements={"bay-1": BAY_1}), "no lot"),
        (shop(technicians=(ADA, replace(BRAM, id="z1"))), "z1: used for two resources"),
        (shop(open=(Window(600, 600),)), "does not end after it starts"),
        (shop(horizon=at(7)), "does not reach past now"),
    ],
)
def test_a_contradictory_question_is_a_model_error(problem: Problem, fault: str) -> None:
    answer = dispatch(problem)
    assert isinstance(answer, ModelError)
    assert any(fault in one for one in answer.faults)


def crowded(count: int) -> Problem:
    """Two days of visits in a shop of ten bays and nine people."""
    bays = {f"b{n}": replace(BAY_1, id=f"b{n}", zones=frozenset({f"zone-{n}"})) for n in range(10)}
    wide = {
        f"w{n}": replace(BAY_2, id=f"w{n}", zones=frozenset({f"zone-{n}", f"zone-{n + 1}"}))
        for n in range(9)
    }
    skills = dict.fromkeys(("scan", "camera", "surround", "road"), ALWAYS)
    people = tuple(Technician(f"t{n}", f"T{n}", skills, days(4)) for n in range(9))
    types = {"scan_tool": 7, "frame": 3, "mat_set": 2}
    units = tuple(
        Unit(f"{kind}-{n}", kind, f"{kind} {n}") for kind, k in types.items() for n in range(k)
    )
    visits: list[Vehicle] = []
    for number in range(count):
        work = [scan(), camera(placements=tuple(bays))]
        work += [surround(placements=tuple(wide))] if number % 3 == 0 else []
        work += [drive()] if number % 4 == 0 else []
        release = at(8 + number % 8, 0, day=number * 2 // count)
        visits.append(
            vehicle(f"v{number}", *work, scan("last"), release=release, due=release + 300)
        )
    return shop(
        *visits,
        placements={"lot": LOT, "road": ROAD, **bays, **wide},
        technicians=people,
        units=units,
    )


def test_forty_visits_in_ten_bays_get_a_sound_plan() -> None:
    problem = crowded(40)
    answer = dispatch(problem)
    assert isinstance(answer, Plan)
    assert verify(problem, answer) == []
