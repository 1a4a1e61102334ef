"""The tables of moves, row by row, and walks that try to get round the guards."""

from dataclasses import MISSING, fields, replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jobs.lifecycle import (
    CALIBRATION_GUARDS,
    CALIBRATION_TABLE,
    VISIT_GUARDS,
    VISIT_TABLE,
    CalibrationAct,
    CalibrationFacts,
    CalibrationState,
    MoveRefused,
    VisitAct,
    VisitFacts,
    VisitState,
    calibration_acts,
    calibration_move,
    calibration_unmet,
    visit_acts,
    visit_move,
)

# Every fact as it must be for its guard to be met.
CALIBRATION_MET = CalibrationFacts(
    pre_scan_taken=True,
    blocking_codes_open=(),
    preconditions_unmet=(),
    preconditions_unanswered=(),
    checks_failed=(),
    checks_open=(),
    checks_too_close=(),
    equipment_missing=(),
    equipment_overdue=(),
    confirmations_open=(),
    area_clear_confirmed=True,
    during_run_open=(),
    prerequisites_open=(),
    technician_qualified=True,
    after_checks_open=(),
    after_checks_failed=(),
    outcome_cause="target knocked over",
    post_scan_taken=True,
)
# For each guard, facts that leave just it unmet.
CALIBRATION_UNMET = {
    "technician_qualified": {"technician_qualified": False},
    "pre_scan": {"pre_scan_taken": False},
    "prerequisites": {"prerequisites_open": ("wheel alignment",)},
    "blocking_codes": {"blocking_codes_open": ("U0415",)},
    "preconditions_unanswered": {"preconditions_unanswered": ("fuel level",)},
    "preconditions": {"preconditions_unmet": ("battery voltage",)},
    "equipment_missing": {"equipment_missing": ("target board",)},
    "equipment_overdue": {"equipment_overdue": ("tape 2",)},
    "checks_open": {"checks_open": ("target distance",)},
    "checks_failed": {"checks_failed": ("target height",)},
    "checks_too_close": {"checks_too_close": ("target yaw",)},
    "confirmations": {"confirmations_open": ("nobody in the vehicle",)},
    "area_clear": {"area_clear_confirmed": False},
    "during_run": {"during_run_open": ("doors stayed shut",)},
    "outcome_cause": {"outcome_cause": "  "},
    "after_checks_open": {"after_checks_open": ("warning lamp out",)},
    "after_checks": {"after_checks_failed": ("warning lamp out",)},
    "after_checks_rejected": {"after_checks_failed": ()},
}
NEVER = {
    "preconditions_unanswered",
    "checks_open",
    "checks_failed",
    "confirmations",
    "area_clear",
    "during_run",
    "outcome_cause",
    "after_checks_open",
    "after_checks",
    "after_checks_rejected",
}
VISIT_MET = VisitFacts(
    vehicle_identified=True,
    systems_to_confirm=(),
    calibrations_running=(),
    calibrations_open=(),
    calibrations_not_dealt_with=(),
    post_scan_taken=True,
    post_scan_compared=True,
    codes_unexplained=(),
    record_issued=True,
    reason="waiting for a part",
)
VISIT_UNMET = {
    "vehicle_identified": {"vehicle_identified": False},
    "systems_confirmed": {"systems_to_confirm": ("rear radar",)},
    "nothing_running": {"calibrations_running": ("front camera",)},
    "calibrations_verified": {"calibrations_open": ("front camera",)},
    "calibrations_dealt_with": {"calibrations_not_dealt_with": ("front radar",)},
    "post_scan": {"post_scan_taken": False, "post_scan_compared": False},
    "post_scan_compared": {"post_scan_compared": False},
    "codes_explained": {"codes_unexplained": ("U0100",)},
    "record_issued": {"record_issued": False},
    "reason": {"reason": ""},
}
C, A = CalibrationState, CalibrationAct

# Written out by hand, so that a change of the table must be meant.
CALIBRATION_MOVES = {
    ("planned", "prepare"): "preparing",
    ("planned", "cancel"): "cancelled",
    ("preparing", "set_out"): "set_out",
    ("preparing", "cancel"): "cancelled",
    ("set_out", "start_run"): "running",
    ("set_out", "cancel"): "cancelled",
    ("running", "record_passed"): "passed",
    ("running", "record_failed"): "failed",
    ("running", "stop"): "stopped",
    ("passed", "verify"): "verified",
    ("passed", "reject_after_checks"): "failed",
    ("failed", "attempt_again"): "preparing",
    ("stopped", "attempt_again"): "preparing",
}
VISIT_MOVES = {
    ("booked", "check_in"): "checked_in",
    ("booked", "cancel"): "cancelled",
    ("checked_in", "start_work"): "in_work",
    ("checked_in", "cancel"): "cancelled",
    ("in_work", "hold"): "on_hold",
    ("in_work", "mark_ready"): "ready",
    ("in_work", "cancel"): "cancelled",
    ("on_hold", "resume"): "in_work",
    ("on_hold", "cancel"): "cancelled",
    ("ready", "reopen"): "in_work",
    ("ready", "release"): "released",
}


def met_for(row):
    """Facts that meet every guard of a row; one act needs a failed after-check to be met."""
    if "after_checks_rejected" in row.guards:
        return replace(CALIBRATION_MET, after_checks_failed=("warning lamp out",))
    return CALIBRATION_MET


def refused(move, *asked):
    with pytest.raises(MoveRefused) as caught:
        move(*asked)
    return caught.value


@pytest.mark.parametrize("state", CalibrationState)
@pytest.mark.parametrize("act", CalibrationAct)
def test_calibration_moves_are_those_written_down_and_no_other(state, act):
    facts = CALIBRATION_MET
    if act is A.REJECT_AFTER_CHECKS:
        facts = replace(facts, after_checks_failed=("warning lamp out",))
    to = CALIBRATION_MOVES.get((state.value, act.value))
    if to is None:
        refusal = refused(calibration_move, state, act, facts)
        assert (refusal.code, refusal.unmet) == ("no_such_move", ())
    else:
        assert calibration_move(state, act, facts) == to


@pytest.mark.parametrize("state", VisitState)
@pytest.mark.parametrize("act", VisitAct)
def test_visit_moves_are_those_written_down_and_no_other(state, act):
    to = VISIT_MOVES.get((state.value, act.value))
    if to is None:
        assert refused(visit_move, state, act, VISIT_MET).code == "no_such_move"
    else:
        assert visit_move(state, act, VISIT_MET) == to


ROW_GUARDS = [
    pytest.param(row, key, id=f"{row.state}-{row.act}-{key}")
    for row in CALIBRATION_TABLE
    for key in row.guards
]


@pytest.mark.parametrize(("row", "key"), ROW_GUARDS)
def test_each_guard_of_each_calibration_move_refuses_alone(row, key):
    facts = replace(met_for(row), **CALIBRATION_UNMET[key])
    (unmet,) = refused(calibration_move, row.state, row.act, facts).unmet
    assert (unmet.guard, unmet.code) == (key, f"unmet.{key}")
    assert unmet.says
    assert unmet.right
    assert calibration_unmet(row.state, row.act, facts) == (unmet,)


@pytest.mark.parametrize(("row", "key"), ROW_GUARDS)
def test_override_opens_a_calibration_move_only_where_it_may(row, key):
    facts = replace(met_for(row), **CALIBRATION_UNMET[key], overridden=frozenset({key}))
    if key in NEVER:
        (unmet,) = refused(calibration_move, row.state, row.act, facts).unmet
        assert not unmet.can_override
    else:
        assert calibration_move(row.state, row.act, facts) is row.to


@pytest.mark.parametrize(
    ("row", "key"),
    [
        pytest.param(row, key, id=f"{row.state}-{row.act}-{key}")
        for row in VISIT_TABLE
        for key in row.guards
    ],
)
def test_each_guard_of_each_visit_move_refuses_alone_and_opens_only_if_it_may(row, key):
    facts = replace(VISIT_MET, **VISIT_UNMET[key])
    (unmet,) = refused(visit_move, row.state, row.act, facts).unmet
    assert unmet.guard == key
    overridden = replace(facts, overridden=frozenset({key}))
    if VISIT_GUARDS[key].can_override:
        assert visit_move(row.state, row.act, overridden) is row.to
    else:
        assert refused(visit_move, row.state, row.act, overridden).unmet == (unmet,)


def test_refused_run_lists_every_unmet_guard_with_names_and_what_puts_it_right():
    facts = replace(
        CALIBRATION_MET,
        blocking_codes_open=("U0415", "C1A2B"),
        checks_failed=("target height",),
        area_clear_confirmed=False,
    )
    refusal = refused(calibration_move, C.SET_OUT, A.START_RUN, facts)
    assert [item.guard for item in refusal.unmet] == [
        "blocking_codes",
        "checks_failed",
        "area_clear",
    ]
    assert [item.can_override for item in refusal.unmet] == [True, False, False]
    for words in ("U0415, C1A2B", "target height", "walk around", "set out again"):
        assert words in refusal.says


def test_move_that_is_not_in_the_table_names_those_that_are():
    refusal = refused(calibration_move, C.PASSED, A.START_RUN, CALIBRATION_MET)
    assert "verify" in refusal.says
    closed = refused(visit_move, VisitState.RELEASED, VisitAct.REOPEN, VISIT_MET)
    assert "it is closed" in closed.says


def test_guards_never_to_be_overridden_are_those_written_down():
    assert {key for key, guard in CALIBRATION_GUARDS.items() if not guard.can_override} == NEVER
    assert not any(
        VISIT_GUARDS[key].can_override
        for key in ("calibrations_verified", "calibrations_dealt_with", "record_issued")
    )


def test_every_guard_is_used_and_every_state_can_be_reached():
    assert {key for row in CALIBRATION_TABLE for key in row.guards} == set(CALIBRATION_GUARDS)
    assert {key for row in VISIT_TABLE for key in row.guards} == set(VISIT_GUARDS)
    assert {row.to for row in CALIBRATION_TABLE} | {C.PLANNED} == set(CalibrationState)
    assert {row.to for row in VISIT_TABLE} | {VisitState.BOOKED} == set(VisitState)
    assert visit_acts(VisitState.RELEASED) == calibration_acts(C.VERIFIED) == ()


def test_facts_have_no_default_that_could_stand_for_met():
    for kind in (CalibrationFacts, VisitFacts):
        optional = [f.name for f in fields(kind) if f.default is not MISSING]
        assert optional == ["overridden"]


def facts_with(open_guards, overridden):
    facts = replace(CALIBRATION_MET, overridden=overridden)
    for key in open_guards:
        facts = replace(facts, **CALIBRATION_UNMET[key])
    return facts


KEYS = sorted(CALIBRATION_GUARDS)
# At most two guards unmet at a time: with all facts drawn freely no walk would get anywhere.
FACTS = st.builds(
    facts_with,
    st.lists(st.sampled_from(KEYS), max_size=2),
    st.frozensets(st.sampled_from(KEYS), max_size=3),
)


def may_run(facts: CalibrationFacts) -> bool:
    """Said again without the guard table: no run with any of these open."""
    open_unless_overridden = {
        "blocking_codes": facts.blocking_codes_open,
        "preconditions": facts.preconditions_unmet,
        "equipment_overdue": facts.equipment_overdue,
        "equipment_missing": facts.equipment_missing,
        "prerequisites": facts.prerequisites_open,
        "checks_too_close": facts.checks_too_close,
        "pre_scan": () if facts.pre_scan_taken else ("x",),
        "technician_qualified": () if facts.technician_qualified else ("x",),
    }
    always = (
        facts.checks_open
        or facts.checks_failed
        or facts.preconditions_unanswered
        or facts.confirmations_open
        or not facts.area_clear_confirmed
    )
    rest = any(
        names and key not in facts.overridden for key, names in open_unless_overridden.items()
    )
    return not always and not rest


NO_FACTS_UNMET = st.just(CALIBRATION_MET)
# Half the steps go the way to a verified calibration, most of them with everything met, so
# that walks come past every guard.
FORWARD = {
    C.PLANNED: A.PREPARE,
    C.PREPARING: A.SET_OUT,
    C.SET_OUT: A.START_RUN,
    C.RUNNING: A.RECORD_PASSED,
    C.PASSED: A.VERIFY,
}
STEPS = st.lists(
    st.tuples(st.none() | st.sampled_from(CalibrationAct), NO_FACTS_UNMET | FACTS),
    min_size=5,
    max_size=30,
)


@settings(max_examples=500)
@given(STEPS, st.sampled_from([C.PLANNED, C.SET_OUT, C.RUNNING, C.PASSED]))
def test_random_walk_never_reaches_running_with_an_unmet_guard(steps, start):
    state = start
    for drawn, facts in steps:
        act = drawn or FORWARD.get(state, A.ATTEMPT_AGAIN)
        before = state
        try:
            state = calibration_move(state, act, facts)
        except MoveRefused:
            assert state is before
            continue
        if state is C.RUNNING:
            assert before is C.SET_OUT
            assert may_run(facts)
        if state is C.PASSED:
            assert not facts.during_run_open
        if state is C.VERIFIED:
            assert not facts.after_checks_open
            assert not facts.after_checks_failed


@given(FACTS)
def test_run_starts_exactly_when_nothing_forbids_it(facts):
    assert (calibration_unmet(C.SET_OUT, A.START_RUN, facts) == ()) is may_run(facts)
