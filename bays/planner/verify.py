"""Check a plan against every rule with plain interval arithmetic.

Nothing here comes from the modules that make plans: only the question and answer types are
shared. What was pinned is a fact, so it is checked against its pin and not against shifts,
opening hours or downtimes, and two pins may overlap.
"""

from __future__ import annotations

from bays.planner.answers import Plan, Violation
from bays.planner.checks.books import check_double_booking
from bays.planner.checks.crossings import check_crossings
from bays.planner.checks.drivers import check_drivers
from bays.planner.checks.lengths import check_lengths
from bays.planner.checks.order import check_order
from bays.planner.checks.rows import check_rows
from bays.planner.checks.totals import check_totals
from bays.planner.problem import Problem


def verify(problem: Problem, plan: Plan) -> list[Violation]:
    """Every rule the plan breaks; an empty list means it may be promised.

    Rows: each operation once, exactly as long as it lasts (less where its set-up is shared), by
    one qualified technician inside one shift and one opening window, with the units listed, in
    an allowed placement, not before now or what it waits for. Vehicles: operations in order
    with lags and moves. Resources: nobody, no unit and no zone twice at a time, zones until the
    vehicle leaves, nobody drives through a zone that is taken, and drivers are there for the
    drive. Totals: late minutes and cost.
    """
    found = list(check_rows(problem, plan.rows))
    if any(violation.rule in ("unknown", "twice") for violation in found):
        return found
    found += check_lengths(problem, plan.rows)
    found += check_order(problem, plan.rows)
    found += check_double_booking(problem, plan.rows)
    found += check_crossings(problem, plan.rows)
    found += check_drivers(problem, plan.rows)
    if not any(violation.rule == "missing" for violation in found):
        found += check_totals(problem, plan)
    return found
