"""Chains of reasons in words."""

from __future__ import annotations

from bays.planner import Plan, dispatch, explain

from .shop import at, scan, shop, surround, vehicle


def test_the_chain_leads_through_the_vehicle_that_holds_the_resource() -> None:
    problem = shop(
        vehicle("first", scan(), surround(minutes=120), due=at(11)),
        vehicle("second", surround(), scan("last"), due=at(13)),
    )
    plan = dispatch(problem)
    assert isinstance(plan, Plan)
    reasons = explain(problem, plan, "second")
    assert [(link.vehicle, link.operation) for link in reasons.chain] == [
        ("second", "last"),
        ("second", "surround"),
        ("first", "surround"),
        ("first", "scan"),
    ]
    assert reasons.says.startswith("RO second is done at 11:40, promised for 13:00.")
    assert "RO first until 10:25" in reasons.says
    assert reasons.chain[-1].says == "RO first, Scan at 08:00: the vehicle is here from 08:00"


def test_a_late_vehicle_is_said_to_be_late() -> None:
    problem = shop(vehicle("late", surround(), due=at(9)))
    plan = dispatch(problem)
    assert isinstance(plan, Plan)
    assert "10 minutes late, promised for 09:00" in explain(problem, plan, "late").says


def test_a_lag_is_named_as_the_reason() -> None:
    problem = shop(vehicle("glass", scan(), surround(lag=120)))
    plan = dispatch(problem)
    assert isinstance(plan, Plan)
    assert "it has to wait 120 minutes after Scan" in explain(problem, plan, "glass").chain[0].says
