"""What a manager may set aside, when, and how far it reaches."""

from __future__ import annotations

import pytest

from jobs.models import Override
from jobs.services import visits
from jobs.services.overrides import override_guard
from shopcal.errors import Conflict, Invalid, NotAllowed, NotFound, Stale
from shopcal.history.models import Event
from tests.conftest import Person
from tests.jobs.services.at_work import ACROSS, Job

pytestmark = pytest.mark.django_db


def override(job: Job, guard: str, reason: str = "seen and accepted", **more) -> Override:
    return override_guard(
        by=job.manager, calibration=job.calibration, guard=guard, reason=reason, **more
    )


@pytest.fixture
def preparing(job: Job) -> Job:
    job.check_in()
    job.pre_scan()
    job.prepare()
    job.answer_all(battery="11.5 V")
    job.use_all()
    job.read_all(ACROSS)
    return job


def test_neither_technician_nor_desk_sets_a_guard_aside(preparing: Job) -> None:
    for by in (preparing.technician, preparing.writer):
        with pytest.raises(NotAllowed):
            override_guard(
                by=by, calibration=preparing.calibration, guard="preconditions", reason="x"
            )
        with pytest.raises(NotAllowed):
            override_guard(by=by, visit=preparing.visit, guard="post_scan", reason="x")


@pytest.mark.parametrize(
    ("guard", "code"),
    [
        ("blocking_codes", "guard_met"),  # no such code there
        ("preconditions_unanswered", "never_overridden"),
        ("checks_failed", "never_overridden"),
        ("checks_open", "never_overridden"),
        ("area_clear", "never_overridden"),
        ("confirmations", "never_overridden"),
        ("during_run", "never_overridden"),
    ],
)
def test_a_guard_that_is_met_or_beyond_anybody_stays(preparing: Job, guard: str, code: str) -> None:
    with pytest.raises(Conflict) as refused:
        override(preparing, guard)
    assert refused.value.code == code


def test_a_guard_that_is_none_and_a_missing_reason_are_refused(preparing: Job) -> None:
    with pytest.raises(Invalid) as refused:
        override(preparing, "gravity")
    assert refused.value.errors[0].path == "guard"
    with pytest.raises(Invalid) as refused:
        override(preparing, "preconditions", reason=" ")
    assert refused.value.errors[0].path == "reason"


def test_an_override_reaches_no_further_than_what_was_unmet_then(preparing: Job) -> None:
    """Letting the battery pass does not let the tyres pass that are found flat later."""
    override(preparing, "preconditions", reason="support unit holds it")
    preparing.set_out()
    preparing.answer("tyre_pressures", yes=False)
    with pytest.raises(Conflict) as refused:
        preparing.start()
    assert "preconditions" in {u["guard"] for u in refused.value.facts["unmet"]}
    override(preparing, "preconditions", reason="both, vehicle is towed on")
    (kept,) = Override.objects.all()
    assert "battery" in kept.says
    assert "tyre pressures" in kept.says
    told = Event.objects.filter(kind="calibration.guard_overridden").order_by("seq").last()
    assert told.before["reason"] == "support unit holds it"
    # One of the two put right: what is left is still covered.
    preparing.answer("battery", typed="12.4 V")
    with pytest.raises(Conflict) as refused:
        preparing.start()
    assert "preconditions" not in {u["guard"] for u in refused.value.facts["unmet"]}


def test_a_code_found_after_an_override_is_not_covered_by_it(job: Job) -> None:
    job.check_in()
    job.pre_scan("C1A21")
    job.prepare()
    override(job, "blocking_codes")
    job.pre_scan("C1A21\nU0100")
    job.answer_all()
    job.use_all()
    job.set_out()
    with pytest.raises(Conflict) as refused:
        job.start()
    says = {u["guard"]: u["says"] for u in refused.value.facts["unmet"]}
    assert "U0100" in says["blocking_codes"]


def test_a_run_without_a_pre_scan_needs_a_managers_word_and_shows_it(job: Job) -> None:
    job.check_in()
    override(job, "pre_scan", reason="vehicle has no power for the tool")
    job.prepare()
    job.answer_all()
    job.use_all()
    job.set_out()
    assert Override.objects.get().attempt.number == 1


def test_a_visits_guard_is_set_aside_for_the_visit(job: Job) -> None:
    job.until_verified()
    override_guard(by=job.manager, visit=job.visit, guard="post_scan", reason="tool broken")
    visits.mark_ready(by=job.technician, visit=job.visit)
    assert job.visit.state == "ready"
    kept = Override.objects.get()
    assert (kept.attempt, kept.calibration, kept.says) == (None, None, "there is no post-scan")
    with pytest.raises(Conflict) as refused:
        override_guard(by=job.manager, visit=job.visit, guard="record_issued", reason="x")
    assert refused.value.code == "never_overridden"


def test_nothing_is_set_aside_on_a_closed_visit_or_an_old_version(job: Job) -> None:
    seen = job.visit.version
    visits.cancel(by=job.writer, visit=job.visit, reason="called off")
    with pytest.raises(Conflict) as refused:
        override(job, "pre_scan")
    assert refused.value.code == "closed"
    with pytest.raises(Stale):
        override_guard(by=job.manager, visit=job.visit, guard="post_scan", reason="x", version=seen)


def test_another_shops_guard_is_not_there(job: Job, other_manager: Person) -> None:
    with pytest.raises(NotFound):
        override_guard(
            by=other_manager.actor, calibration=job.calibration, guard="pre_scan", reason="x"
        )
    with pytest.raises(NotFound):
        override_guard(by=other_manager.actor, visit=job.visit, guard="post_scan", reason="x")
