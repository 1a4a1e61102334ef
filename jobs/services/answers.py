"""Answers to an edition's questions: preconditions, and what is confirmed around the run."""

from __future__ import annotations

from typing import Any

from django.utils import timezone

from jobs.metrology import ReadingRefused, Verdict
from jobs.models import Answer, Attempt, Calibration
from jobs.procedures import Precondition, Question
from jobs.selectors.procedures import content_of
from jobs.selectors.questions import questions_at
from jobs.selectors.worksheets import units_of
from jobs.services.calibrations import taken_up
from jobs.services.rows import one_transaction, open_attempt, told_calibration
from shopcal.accounts.actor import Actor
from shopcal.accounts.permissions import Action, require
from shopcal.errors import Conflict, FieldError, Invalid

TYPED_LENGTH, SAYS_LENGTH = 60, 200
# The states in which a phase's questions are answered.
_STATES = {
    Answer.Phase.PRECONDITION: ("preparing", "set_out"),
    Answer.Phase.BEFORE_RUN: ("set_out",),
    Answer.Phase.DURING_RUN: ("running",),
    Answer.Phase.AFTER_CHECK: ("passed",),
}


@one_transaction
def answer_precondition(
    *,
    by: Actor,
    calibration: Calibration,
    name: str,
    yes: bool | None = None,
    typed: str = "",
    version: int | None = None,
) -> Answer:
    """Answer a precondition with yes or no, or with a quantity as typed, which is judged.

    An answer given before is replaced; the history keeps it. One that is not met is kept too: the
    guard of the move says so until it is put right or a manager sets it aside.

    Raises:
        NotAllowed, NotFound, Stale. Invalid: no such precondition, or not this kind of answer.
        Conflict: ``not_now``, the calibration is not being prepared; ``not_in_work``.
    """
    require(by, Action.ANSWER_PRECONDITION)
    found = taken_up(by, calibration, version)
    _refuse_other_state(found, Answer.Phase.PRECONDITION)
    wanted = {p.name: p for p in content_of(found.edition).preconditions}
    precondition = _known(wanted, name)
    values = _judged(precondition, yes, typed, found)
    void_before_run(found)
    return _keep(by, found, Answer.Phase.PRECONDITION, precondition, values)


@one_transaction
def answer_before_run(
    *, by: Actor, calibration: Calibration, name: str, yes: bool, version: int | None = None
) -> Answer:
    """Confirm that the area is clear, or that the cautions are heeded.

    Raises:
        NotAllowed, NotFound, Stale. Invalid: no such question. Conflict: ``not_now``.
    """
    require(by, Action.RUN_CALIBRATION)
    return _answer(by, calibration, Answer.Phase.BEFORE_RUN, name, yes, version)


@one_transaction
def answer_during_run(
    *, by: Actor, calibration: Calibration, name: str, yes: bool, version: int | None = None
) -> Answer:
    """Confirm what must stay so while it runs.

    Raises:
        NotAllowed, NotFound, Stale. Invalid: no such question. Conflict: ``not_now``.
    """
    require(by, Action.RUN_CALIBRATION)
    return _answer(by, calibration, Answer.Phase.DURING_RUN, name, yes, version)


@one_transaction
def answer_after_check(
    *, by: Actor, calibration: Calibration, name: str, yes: bool, version: int | None = None
) -> Answer:
    """Say whether an after-check is well.

    Raises:
        NotAllowed, NotFound, Stale. Invalid: no such question. Conflict: ``not_now``.
    """
    require(by, Action.RECORD_OUTCOME)
    return _answer(by, calibration, Answer.Phase.AFTER_CHECK, name, yes, version)


def _answer(
    by: Actor,
    calibration: Calibration,
    phase: Answer.Phase,
    name: str,
    yes: bool,
    version: int | None,
) -> Answer:
    found = taken_up(by, calibration, version)
    _refuse_other_state(found, phase)
    wanted = {q.name: q for q in questions_at(content_of(found.edition), phase)}
    return _keep(by, found, phase, _known(wanted, name), {"met": yes})


def _known(wanted: dict[str, Any], name: str) -> Any:
    if name not in wanted:
        right = f"one of {', '.join(wanted)}" if wanted else "nothing: no question is asked here"
        fault = FieldError("name", f"“{name[:60]}” is not asked here", right)
        raise Invalid("answer", "This answer cannot be taken.", errors=[fault])
    return wanted[name]


def _judged(
    precondition: Precondition, yes: bool | None, typed: str, found: Calibration
) -> dict[str, Any]:
    if precondition.kind == "yes_no":
        if yes is None or typed.strip():
            raise _wrong("yes", "this is answered with yes or no", "yes or no")
        return {"met": yes, "typed": "", "value": None, "unit": "", "says": ""}
    if yes is not None or not typed.strip():
        raise _wrong("typed", "this is answered with a value", f"a value in {precondition.unit}")
    if len(typed.strip()) > TYPED_LENGTH:
        raise _wrong("typed", "is too long", f"a value in {precondition.unit}")
    try:
        check = precondition.judge(typed, units_of(found.visit.shop))
    except ReadingRefused as refused:
        raise _wrong("typed", refused.says, refused.right) from refused
    return {
        "met": check.verdict is Verdict.PASS,
        "typed": typed.strip(),
        "value": check.value,
        "unit": check.unit,
        "says": check.says[:SAYS_LENGTH],
    }


def _keep(
    by: Actor,
    found: Calibration,
    phase: Answer.Phase,
    question: Question | Precondition,
    values: dict[str, Any],
) -> Answer:
    attempt = open_attempt(found)
    earlier = attempt.answers.filter(phase=phase, name=question.name).first()
    before = _facts(earlier) if earlier else None
    answer, _ = Answer.objects.update_or_create(
        attempt=attempt,
        phase=phase,
        name=question.name,
        defaults={
            **values,
            "shop_id": by.shop_id,
            "ask": question.ask[:300],
            "answered_at": timezone.now(),
            "answered_by": by.name,
        },
    )
    told_calibration(
        by, found, "calibration.answered", before, attempt=attempt.number, **_facts(answer)
    )
    return answer


def _facts(answer: Answer) -> dict[str, Any]:
    return {
        "phase": str(answer.phase),
        "name": answer.name,
        "met": answer.met,
        "typed": answer.typed,
        "value": answer.value,
        "unit": answer.unit,
    }


def _refuse_other_state(found: Calibration, phase: Answer.Phase) -> None:
    if found.state not in _STATES[phase]:
        raise not_now(found, f"Questions asked {phase.label} cannot be answered now.")


def not_now(found: Calibration, title: str) -> Conflict:
    """The refusal of something that belongs to another state of the calibration."""
    state = found.state.replace("_", " ")
    return Conflict("not_now", title, detail=f"{found.edition.procedure.name} is {state}.")


def void_before_run(found: Calibration) -> None:
    """Take back what was confirmed right before a run: somebody went to the vehicle again.

    Call it inside the service's transaction.
    """
    attempt: Attempt = open_attempt(found)
    attempt.answers.filter(phase=Answer.Phase.BEFORE_RUN).delete()


def _wrong(path: str, says: str, right: str) -> Invalid:
    return Invalid("answer", "This answer cannot be taken.", errors=[FieldError(path, says, right)])
