"""Questions that take the planner a while: asking, stopping, keeping their answers."""

from __future__ import annotations

from typing import Any, Final

from django.utils import timezone

from jobs.models import Study, Visit
from jobs.planning.other_shops import wanted
from jobs.selectors.studies import OPEN_STATES, plan_mark
from jobs.services.rows import one_transaction
from shopcal.accounts.actor import Actor
from shopcal.accounts.permissions import Action, require
from shopcal.errors import Conflict, NotFound
from shopcal.history.record import record_event
from shopcal.outbox import enqueue

WORK: Final = "study.work"
# Questions of one shop that may wait at a time: each takes the background worker some while.
MOST_OPEN: Final = 5
NEEDS: Final = {Study.Kind.HELP: Action.REPLAN, Study.Kind.WHAT_IF: Action.SEE_FIGURES}


@one_transaction
def ask_what_helps(*, by: Actor, visit: Visit) -> Study:
    """Have it worked out in the background what would help this visit most.

    Asked again about the same plan, the question there is answers.

    Raises:
        NotAllowed: the role may not. NotFound: another shop's visit. Conflict: ``not_planned``, no
            step of it is left in the plan; ``too_many_studies``.
    """
    require(by, Action.REPLAN)
    found = Visit.objects.for_shop(by.shop_id).filter(pk=visit.pk).first()
    if found is None:
        raise NotFound("no_visit", "There is no such visit in this shop.")
    mark = plan_mark(by.shop_id)
    same = Study.objects.for_shop(by.shop_id).filter(
        kind=Study.Kind.HELP, visit=found, plan_mark=mark, state__in=("waiting", "working", "done")
    )
    known = same.first()
    if known is not None:
        return known
    if found.state not in OPEN_STATES or not found.steps.filter(starts_at__isnull=False).exclude(
        state__in=("done", "cancelled")
    ):
        raise Conflict(
            "not_planned",
            "There is nothing to help with.",
            detail=f"RO {found.ro_number} has no step left in the plan.",
        )
    asks = f"What would help RO {found.ro_number}?"
    return _ask(by, Study.Kind.HELP, asks, {}, visit=found, mark=mark)


@one_transaction
def ask_what_if(*, by: Actor, question: dict[str, Any]) -> Study:
    """Have last month's demand planned again in another shop, in the background.

    ``question`` is as ``jobs.planning.other_shops.wanted`` reads it.

    Raises:
        NotAllowed: the role may not. Invalid: nothing or nonsense is asked.
        Conflict: ``too_many_studies``.
    """
    require(by, Action.SEE_FIGURES)
    return _ask(by, Study.Kind.WHAT_IF, wanted(by.shop_id, question).asks, question)


def _ask(
    by: Actor,
    kind: Study.Kind,
    asks: str,
    question: dict[str, Any],
    *,
    visit: Visit | None = None,
    mark: str = "",
) -> Study:
    waiting = Study.objects.for_shop(by.shop_id).filter(state__in=("waiting", "working")).count()
    if waiting >= MOST_OPEN:
        raise Conflict(
            "too_many_studies",
            f"{waiting} questions are being worked out already.",
            detail="Wait until one is answered, or stop one.",
        )
    found = Study.objects.create(
        shop_id=by.shop_id,
        kind=kind,
        visit=visit,
        question=question,
        asks=asks[:200],
        plan_mark=mark,
        asked_by=by.name,
        asked_at=timezone.now(),
    )
    enqueue(kind=WORK, payload={"study_id": found.pk}, key=f"study:{found.pk}", shop_id=by.shop_id)
    _told(by, found, "question.asked", asks=found.asks)
    return found


@one_transaction
def stop_study(*, by: Actor, study: Study) -> Study:
    """Stop working on a question; the worker notices between two plans.

    Raises:
        NotAllowed: the role may not. NotFound: another shop's. Conflict: ``study_over``.
    """
    require(by, NEEDS[Study.Kind(study.kind)])
    found = Study.objects.for_shop(by.shop_id).select_for_update().filter(pk=study.pk).first()
    if found is None:
        raise NotFound("no_study", "There is no such question in this shop.")
    if not found.open:
        state = found.get_state_display()
        raise Conflict("study_over", "It is over already.", detail=f"{found.asks} is {state}.")
    _end(by, found, Study.State.STOPPED, f"Stopped by {by.name}.", None)
    return found


def answer_study(*, study_id: int, says: str, answer: dict[str, Any]) -> None:
    """Keep the answer; one that was stopped meanwhile stays stopped. Call it in a transaction."""
    _end_if_open(study_id, Study.State.DONE, says, answer)


def fail_study(*, study_id: int, says: str) -> None:
    """Say why there is no answer. Call it in a transaction."""
    _end_if_open(study_id, Study.State.FAILED, says, None)


def begin_study(*, study_id: int) -> Study | None:
    """The question, marked as being worked on; None where nobody waits for it any more."""
    there = Study.objects.filter(pk=study_id, state__in=("waiting", "working"))
    if not there.update(state=Study.State.WORKING, done=0, of=0):
        return None
    return Study.objects.select_related("shop", "visit").get(pk=study_id)


def tell_progress(*, study_id: int, done: int, of: int) -> bool:
    """Note how far it is; False where it was stopped, so that the work ends."""
    working = Study.objects.filter(pk=study_id, state=Study.State.WORKING)
    return working.update(done=done, of=of) == 1


def _end_if_open(
    study_id: int, state: Study.State, says: str, answer: dict[str, Any] | None
) -> None:
    found = Study.objects.select_for_update().filter(pk=study_id).first()
    if found is not None and found.open:
        _end(Actor.system(found.shop_id), found, state, says, answer)


def _end(
    by: Actor, found: Study, state: Study.State, says: str, answer: dict[str, Any] | None
) -> None:
    found.state, found.says, found.answer = state, says, answer
    found.ended_at = timezone.now()
    found.save(update_fields=["state", "says", "answer", "ended_at"])
    word = {"done": "answered", "failed": "failed", "stopped": "stopped"}[state]
    _told(by, found, f"question.{word}", asks=found.asks, says=says)


def _told(by: Actor, found: Study, kind: str, **after: Any) -> None:
    record_event(
        by=by, kind=kind, subject=f"study:{found.pk}", visit_id=found.visit_id, after=after
    )
