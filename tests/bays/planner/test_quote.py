"""Offers for a new vehicle, and the reason nothing is sooner."""

from __future__ import annotations

from bays.planner import Plan, Problem, Quote, Unit, Vehicle, Window, dispatch, quote
from bays.planner.answers import ModelError

from .shop import FRAMES, MAT, SCANNERS, at, camera, scan, shop, surround, vehicle
from .test_dispatch import crowded


def asked(problem: Problem, new: Vehicle, count: int = 3) -> Quote:
    plan = dispatch(problem)
    assert isinstance(plan, Plan)
    answer = quote(problem, plan, new, count)
    assert isinstance(answer, Quote)
    return answer


BUSY = shop(vehicle("3120", surround(minutes=185), release=at(8), due=at(11, 30)))


def test_the_binding_names_the_only_mat_set_and_when_it_frees() -> None:
    answer = asked(BUSY, vehicle("new", surround(placements=("rack",)), release=at(8), due=at(18)))
    assert answer.binding is not None
    assert answer.binding.resource == "mat-1"
    assert answer.binding.frees_at == at(11, 15)
    assert answer.binding.says == (
        "Surround view not before 11:15: the only mat set is on RO 3120 until 11:15"
    )
    assert answer.offers[0].start == at(11, 15)


def test_the_binding_names_the_person_who_is_away() -> None:
    problem = shop(
        technicians=tuple(
            t if t.id != "ada" else type(t)("ada", "Ada", t.skills, (Window(at(10), at(18)),))
            for t in shop().technicians
        )
    )
    answer = asked(problem, vehicle("new", surround()), count=1)
    assert answer.binding is not None
    assert answer.binding.says == (
        "Surround view not before 10:00: the only technician for surround, Ada, is off until 10:00"
    )


def test_the_binding_names_a_unit_out_of_service() -> None:
    mat = Unit("mat-1", "mat_set", "Mat set 1", (Window(at(6), at(9, 30)),))
    problem = shop(units=(mat, *FRAMES, *SCANNERS))
    answer = asked(problem, vehicle("new", surround()))
    assert answer.binding is not None
    assert "the only mat set is out of service until 09:30" in answer.binding.says


def test_the_binding_names_the_floor_and_who_stands_on_it() -> None:
    problem = shop(vehicle("3120", camera(minutes=100), due=at(10)), units=(MAT, *FRAMES))
    answer = asked(problem, vehicle("new", surround()))
    assert answer.binding is not None
    assert "Bays 1 + 2, is taken by RO 3120 until 09:50" in answer.binding.says


def test_three_offers_differ_in_start_and_finish() -> None:
    answer = asked(BUSY, vehicle("new", scan(), camera(), surround(), scan("last")))
    assert len(answer.offers) == 3
    assert len({offer.start for offer in answer.offers}) == 3
    assert len({offer.finish for offer in answer.offers}) == 3


def test_offers_within_the_promise_come_before_other_days() -> None:
    answer = asked(BUSY, vehicle("new", camera(), release=at(8), due=at(18)))
    assert [offer.late for offer in answer.offers] == [0, 0, 0]


def test_without_anything_in_the_way_the_arrival_is_what_binds() -> None:
    answer = asked(shop(), vehicle("new", camera(), release=at(9)))
    assert answer.binding is not None
    assert answer.binding.says == "the vehicle is here from 09:00"


def test_an_offer_in_the_evening_waits_for_the_shop_to_open() -> None:
    answer = asked(shop(), vehicle("new", camera(), release=at(17, 45), due=at(12, 0, 1)))
    assert answer.binding is not None
    assert "the shop opens at Tue 3 Mar 08:00" in answer.binding.says


def test_without_enough_floor_there_is_no_offer_and_it_says_so() -> None:
    answer = asked(shop(), vehicle("new", camera(placements=())))
    assert answer.offers == ()
    assert answer.binding is not None
    assert answer.binding.says == "no floor is large enough for Front camera"


def test_nothing_free_before_the_horizon_names_the_shortage() -> None:
    mat = Unit("mat-1", "mat_set", "Mat set 1", (Window(0, at(0, 0, 9)),))
    answer = asked(shop(units=(mat, *FRAMES, *SCANNERS)), vehicle("new", surround()))
    assert answer.offers == ()
    assert answer.binding is not None
    assert answer.binding.says.startswith("no mat set is available before")


def test_words_carry_labels_and_never_ids() -> None:
    answer = asked(BUSY, vehicle("new", scan(), surround()))
    words = " ".join([offer.says for offer in answer.offers] + [str(answer.binding.says)])  # type: ignore[union-attr]
    for identifier in ("mat-1", "wide", "ada", "bram", "z1"):
        assert identifier not in words


def test_a_broken_question_is_a_model_error() -> None:
    plan = dispatch(BUSY)
    assert isinstance(plan, Plan)
    assert isinstance(quote(BUSY, plan, vehicle("new")), ModelError)


def test_beside_forty_visits_there_are_still_three_offers() -> None:
    problem = crowded(40)
    plan = dispatch(problem)
    assert isinstance(plan, Plan)
    for hour in range(8, 18):
        new = vehicle("new", *problem.vehicles[0].operations, release=at(hour), due=at(18))
        answer = quote(problem, plan, new)
        assert isinstance(answer, Quote)
        assert len(answer.offers) == 3
