"""What was done so far, newest first, with the way to correct it while that is possible."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from jobs.metrology import format_quantity
from jobs.models import Answer, AttemptUnit, Override, Reading
from jobs.pages.work.here import Here

BEFORE_RUN = ("preparing", "set_out")


@dataclass(frozen=True)
class DoneView:
    """One thing done; ``act`` with ``fields`` and ``button`` corrects it where that may be."""

    at: str
    by: str
    what: str
    says: str
    act: str = ""
    fields: tuple[tuple[str, str], ...] = ()
    button: str = ""


def done_views(here: Here) -> list[DoneView]:
    """Everything entered for the calibration at hand, and what a manager set aside."""
    found = [*_answers(here), *_readings(here), *_units(here), *_overrides(here)]
    return [view for _, view in sorted(found, key=lambda pair: pair[0], reverse=True)]


Dated = tuple[datetime, DoneView]


def _answers(here: Here) -> Iterator[Dated]:
    state = here.state
    if state is None or state.attempt is None:
        return
    for phase, answers in state.answers.items():
        for answer in answers.values():
            yield answer.answered_at, _answer(here, answer, phase)


def _answer(here: Here, answer: Answer, phase: Answer.Phase) -> DoneView:
    assert here.state is not None
    state = here.state.calibration.state
    yes_no = not answer.typed
    changes = {
        Answer.Phase.PRECONDITION: state in BEFORE_RUN,
        Answer.Phase.AFTER_CHECK: state == "passed",
    }.get(phase, False)
    button, fields = "", []
    if changes and yes_no:
        button = "Correct: no" if answer.met else "Correct: yes"
        fields = [("answer", "no" if answer.met else "yes")]
    says = answer.says or (f"{'yes' if answer.met else 'no'}")
    if answer.typed:
        says = f"{answer.typed}; {answer.says}"
    return DoneView(
        at=here.words.clock(answer.answered_at),
        by=answer.answered_by,
        what=answer.ask,
        says=says,
        act="answer" if button else "",
        fields=(("phase", phase.value), ("question", answer.name), *fields),
        button=button,
    )


def _readings(here: Here) -> Iterator[Dated]:
    state = here.state
    if state is None or state.attempt is None:
        return
    labels = state.content.worksheet.labels()
    may_strike = state.calibration.state in BEFORE_RUN
    rows = Reading.objects.filter(attempt=state.attempt).select_related("instrument")
    for row in rows:
        yield row.read_at, _reading(here, row, labels, may_strike)


def _reading(here: Here, row: Reading, labels: dict[str, str], may_strike: bool) -> DoneView:
    told = format_quantity(row.value, row.unit, here.units, finely=True)
    tool = f", {row.instrument.name}" if row.instrument else ""
    standing = row.struck_at is None
    return DoneView(
        at=here.words.clock(row.read_at),
        by=row.read_by,
        what=labels.get(row.name, row.name).capitalize(),
        says=f"{told}{tool}" if standing else f"{told}, struck out",
        act="strike" if standing and may_strike else "",
        fields=(("reading", str(row.pk)),),
        button="Strike out",
    )


def _units(here: Here) -> Iterator[Dated]:
    state = here.state
    if state is None or state.attempt is None:
        return
    may_change = state.calibration.state in BEFORE_RUN
    rows = AttemptUnit.objects.filter(attempt=state.attempt).select_related("unit__type")
    for row in rows:
        serial = f", serial {row.serial}" if row.serial else ""
        yield (
            row.used_at,
            DoneView(
                at=here.words.clock(row.used_at),
                by="",
                what=row.unit.type.name,
                says=f"{row.unit.name}{serial}, {row.fitness}",
                act="put-back" if may_change else "",
                fields=(("unit", str(row.unit_id)),),
                button="Put back",
            ),
        )


def _overrides(here: Here) -> Iterator[Dated]:
    attempt = here.state.attempt if here.state else None
    rows = Override.objects.for_shop(here.by.shop_id).filter(visit=here.visit)
    for row in rows:
        if row.attempt_id is not None and (attempt is None or row.attempt_id != attempt.pk):
            continue
        yield (
            row.overridden_at,
            DoneView(
                at=here.words.clock(row.overridden_at),
                by=row.overridden_by,
                what=f"Set aside: {row.says}",
                says=row.reason,
            ),
        )
