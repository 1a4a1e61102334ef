"""One question at a time: preconditions and after-checks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.utils.safestring import SafeString

from jobs.metrology import ReadingRefused
from jobs.models import Answer
from jobs.pages.work.here import Here
from jobs.pages.work.worksheet import bar_of
from jobs.procedures import Precondition, Question, limits_in_words
from jobs.selectors.facts import AttemptState
from jobs.selectors.questions import questions_at

Phase = Answer.Phase
SIGNED_UNITS = ("deg", "1")  # a tablet's number pad has no minus sign


@dataclass(frozen=True)
class QuestionView:
    """The question as the page asks it."""

    phase: str
    name: str
    ask: str
    kind: str
    caution: str = ""
    remedy: str = ""
    limits: str = ""
    unit_says: str = ""
    typed: str = ""
    answer: str = ""
    met: bool = True
    faults: tuple[str, ...] = ()
    bar: SafeString | None = None
    inputmode: str = "text"


@dataclass(frozen=True)
class TickView:
    """A question answered by ticking it."""

    name: str
    ask: str
    met: bool
    faults: tuple[str, ...]


def precondition_body(here: Here, state: AttemptState) -> dict[str, Any]:
    """The first precondition without an answer, else the first that is not met."""
    given = state.answers[Phase.PRECONDITION]
    asked = state.content.preconditions
    unanswered = [one for one in asked if one.name not in given]
    unmet = [one for one in asked if one.name in given and not given[one.name].met]
    chosen = _chosen(here, asked, unmet, unanswered)
    number = asked.index(chosen) + 1
    return {
        "question": _precondition(here, chosen, given.get(chosen.name)),
        "number": number,
        "count": len(asked),
        "then": [one.ask for one in (*unanswered, *unmet) if one != chosen],
        "meanwhile": unanswered[0].name if unanswered and chosen in unmet else "",
    }


def _chosen(
    here: Here,
    asked: tuple[Precondition, ...],
    unmet: list[Precondition],
    unanswered: list[Precondition],
) -> Precondition:
    """One that was refused just now; one answered no, to be put right; else the next."""
    refused = here.refused
    if refused is not None and refused.act == "answer":
        for one in asked:
            if one.name == refused.post.get("question"):
                return one
    for one in unanswered:
        if one.name == here.ask:
            return one
    return (*unmet, *unanswered, *asked)[0]


def _precondition(here: Here, one: Precondition, given: Answer | None) -> QuestionView:
    unit = one.unit or ""
    return QuestionView(
        phase=Phase.PRECONDITION.value,
        name=one.name,
        ask=one.ask,
        kind=one.kind,
        caution=one.caution,
        remedy=one.remedy or "Put it right on the vehicle, then answer again.",
        limits=_limits(limits_in_words(one, here.units)),
        unit_says=unit,
        typed=_typed(here, given),
        answer=(given.says or "no") if given else "",
        met=given.met if given else True,
        faults=here.faults("answer").get("typed", ()),
        bar=_bar(here, one, given),
        inputmode=inputmode(unit),
    )


def inputmode(unit: str) -> str:
    return "text" if unit in SIGNED_UNITS else "decimal"


def _limits(says: str) -> str:
    return f"must lie {says}" if says.startswith("between") else says


def _typed(here: Here, given: Answer | None) -> str:
    if here.refused is not None and here.refused.act == "answer":
        return str(here.refused.post.get("typed", ""))
    return given.typed if given else ""


def _bar(here: Here, one: Precondition, given: Answer | None) -> SafeString | None:
    if one.kind != "quantity" or given is None or not given.typed:
        return None
    try:
        judged = one.judge(given.typed, here.units)
    except ReadingRefused:
        return None
    return bar_of(one.name, one.ask, judged, here.units)


def after_body(here: Here, state: AttemptState) -> dict[str, Any]:
    """The first after-check without an answer."""
    given = state.answers[Phase.AFTER_CHECK]
    asked = questions_at(state.content, Phase.AFTER_CHECK)
    waiting = [one for one in asked if one.name not in given]
    chosen = waiting[0]
    return {
        "question": QuestionView(
            phase=Phase.AFTER_CHECK.value,
            name=chosen.name,
            ask=chosen.ask,
            kind="yes_no",
            caution=chosen.caution,
        ),
        "number": asked.index(chosen) + 1,
        "count": len(asked),
        "then": [one.ask for one in waiting[1:]],
    }


def ticks(here: Here, state: AttemptState, phase: Answer.Phase, *acts: str) -> list[TickView]:
    """Questions of a phase to tick; what was ticked on a refused form stays ticked."""
    given = state.answers[phase]
    faults = here.faults(*acts)
    ticked = set()
    if here.refused is not None and here.refused.act in acts:
        ticked = set(here.refused.post.getlist("confirmed"))
    return [
        TickView(
            one.name,
            one.ask,
            one.name in ticked or (one.name in given and given[one.name].met),
            faults.get(one.name, ()),
        )
        for one in questions_at(state.content, phase)
    ]


def cautions_at(state: AttemptState, phase: Answer.Phase) -> list[str]:
    return [one.caution for one in questions_at(state.content, phase) if one.caution]


__all__ = [
    "Question",
    "QuestionView",
    "TickView",
    "after_body",
    "cautions_at",
    "inputmode",
    "precondition_body",
    "ticks",
]
