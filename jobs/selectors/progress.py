"""How far the work on a visit has come, stage by stage."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from jobs.lifecycle import CalibrationState, VisitState
from jobs.models import Answer, Calibration, Visit
from jobs.selectors.acts import ActKind, ActProgress
from jobs.selectors.facts import AttemptState, attempt_state, missing_types, visit_facts
from jobs.selectors.next_act import calibrations_in_order
from jobs.selectors.scans import comparison_of, latest_pre_scan

_S = CalibrationState
_RUN = (_S.PASSED, _S.VERIFIED)
_STOOD = (_S.SET_OUT, _S.RUNNING, *_RUN)


def acts_of(visit: Visit) -> tuple[ActProgress, ...]:
    """Every stage in order; the first that is not done is now, those after it are to do.

    A calibration left failed or stopped, as was written down, counts as done with.
    """
    stages = []
    now_is_known = visit.state in (VisitState.RELEASED, VisitState.CANCELLED)
    for stage in _stages(visit):
        if stage.done >= stage.of:
            stages.append(replace(stage, state="done"))
        else:
            stages.append(replace(stage, state="to do" if now_is_known else "now"))
            now_is_known = True
    return tuple(stages)


def _stages(visit: Visit) -> Iterator[ActProgress]:
    facts = visit_facts(visit)
    here = visit.checked_in_at is not None
    yield _one(ActKind.CHECK_IN, "Check in", here)
    yield _one(ActKind.PRE_SCAN, "Pre-scan", latest_pre_scan(visit) is not None)
    for calibration in calibrations_in_order(visit):
        yield from _of_calibration(calibration)
    scans = comparison_of(visit)
    compared = facts.post_scan_compared and not facts.codes_unexplained
    finished = visit.state in (VisitState.READY, VisitState.RELEASED)
    yield _one(ActKind.POST_SCAN, "Post-scan", scans.post is not None or finished)
    yield _one(ActKind.COMPARE, "Scans compared", compared or finished)
    yield _one(ActKind.SIGN_OFF, "Sign off", finished)
    yield _one(ActKind.HAND_OVER, "Hand over", visit.state == VisitState.RELEASED)


def _of_calibration(calibration: Calibration) -> Iterator[ActProgress]:
    known = attempt_state(calibration)
    for kind, title, done, of in _counts(known):
        closed = calibration.state == _S.VERIFIED or bool(calibration.dealt_with)
        if of:
            yield ActProgress(kind, title, calibration.pk, of if closed else done, of)


def _counts(known: AttemptState) -> Iterator[tuple[ActKind, str, int, int]]:
    content, state = known.content, _S(known.calibration.state)
    given = known.answers[Answer.Phase.PRECONDITION]
    met = sum(1 for p in content.preconditions if p.name in given and given[p.name].met)
    yield ActKind.PRECONDITION, f"{content.name}: preconditions", met, len(content.preconditions)
    needed = sum(item.count for item in content.equipment)
    yield ActKind.USE_EQUIPMENT, "Equipment", needed - len(missing_types(known)), needed
    inputs = content.worksheet.inputs
    wanted = {(i.name, n) for i in inputs for n in range(1, i.repeats + 1)}
    yield ActKind.SET_OUT, "Set out", int(state in _STOOD), 1
    yield ActKind.WORKSHEET_INPUT, "Measure", len(wanted & set(known.readings)), len(wanted)
    yield ActKind.RUN, "Run", int(state in _RUN), 1
    after = known.answers[Answer.Phase.AFTER_CHECK]
    well = sum(1 for q in content.after_checks if q.name in after and after[q.name].met)
    yield ActKind.AFTER_CHECK, "After-checks", well, len(content.after_checks)
    yield ActKind.VERIFY, "Verify", int(state is _S.VERIFIED), 1


def _one(kind: ActKind, title: str, done: bool) -> ActProgress:
    return ActProgress(kind, title, None, int(done), 1)
