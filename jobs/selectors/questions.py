"""The questions of an edition by when they are asked, with those asked before every run."""

from __future__ import annotations

from jobs.models import Answer, Attempt
from jobs.procedures import ProcedureContent, Question

AREA_CLEAR = "area_clear"
CAUTIONS_HEEDED = "cautions_heeded"
_ROAD_CLEAR = "Is nobody around the vehicle, is everything stowed, and is it safe to drive off?"
_FLOOR_CLEAR = "Is everyone and everything out of the clear zone?"


def before_run_questions(content: ProcedureContent) -> tuple[Question, ...]:
    """What a person confirms right before the run, the clear area last."""
    drives = content.run.kind == "drive"
    clear = Question(
        AREA_CLEAR, _ROAD_CLEAR if drives else _FLOOR_CLEAR, caution=content.run.wait_away
    )
    heeded = Question(
        CAUTIONS_HEEDED, "Have you read these cautions, and are they heeded?",
        caution=" ".join(content.cautions),
    )  # fmt: skip
    return (heeded, clear)


def questions_at(content: ProcedureContent, phase: Answer.Phase) -> tuple[Question, ...]:
    """The yes or no questions of a phase after the preconditions, in the order to ask them."""
    return {
        Answer.Phase.BEFORE_RUN: before_run_questions(content),
        Answer.Phase.DURING_RUN: content.during_run,
        Answer.Phase.AFTER_CHECK: content.after_checks,
    }[phase]


def answers_at(attempt: Attempt | None, phase: Answer.Phase) -> dict[str, Answer]:
    """The answers given in a phase, by the question's name."""
    if attempt is None:
        return {}
    return {answer.name: answer for answer in attempt.answers.filter(phase=phase)}


def plain(name: str) -> str:
    """A name of an edition as a person reads it."""
    return name.replace("_", " ")
