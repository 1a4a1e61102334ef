"""The one thing to do next for a calibration."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from bays.models import EquipmentUnit, Technician
from jobs.lifecycle import (
    CalibrationAct,
    CalibrationFacts,
    CalibrationState,
    Unmet,
    calibration_unmet,
)
from jobs.metrology import Input, Units, Verdict, fill, format_quantity, to_inside
from jobs.metrology.worksheet import CheckRule, Stage
from jobs.models import Answer, Calibration
from jobs.procedures import Precondition, Question, limits_in_words
from jobs.selectors.acts import Act, ActKind, Block, Choice, blocks
from jobs.selectors.facts import (
    AttemptState,
    attempt_state,
    calibration_facts,
    missing_types,
)
from jobs.selectors.fitness import fitness_of
from jobs.selectors.questions import plain, questions_at
from jobs.selectors.worksheets import units_of

_S, _A = CalibrationState, CalibrationAct


def act_of_calibration(calibration: Calibration, technician: Technician | None) -> Act:
    """What this calibration waits for; ``technician`` is whose skills count."""
    known = attempt_state(calibration)
    facts = calibration_facts(calibration, technician=technician, state=known)
    return _Next(calibration, known, facts, units_of(calibration.shop)).act()


@dataclass(frozen=True)
class _Next:
    calibration: Calibration
    known: AttemptState
    facts: CalibrationFacts
    units: Units

    def act(self) -> Act:
        by_state: dict[CalibrationState, Callable[[], Act]] = {
            _S.PLANNED: self._planned,
            _S.PREPARING: self._preparing,
            _S.SET_OUT: self._set_out,
            _S.RUNNING: self._running,
            _S.PASSED: self._passed,
            _S.FAILED: self._again,
            _S.STOPPED: self._again,
        }
        return by_state[_S(self.calibration.state)]()

    def _planned(self) -> Act:
        pre_scan = self._pre_scan(self._unmet(_S.PREPARING, _A.SET_OUT))
        if pre_scan is not None and not self.facts.pre_scan_taken:
            return pre_scan
        return self._act(
            ActKind.BEGIN,
            f"Begin: {self.known.content.name}",
            ask="Is the vehicle in its place, and have you what it takes?",
            hint=self.calibration.step.placement_label,
            choices=tuple(
                Choice(item.type, plain(item.type)) for item in self.known.content.equipment
            ),
            blocked=blocks(calibration_unmet(_S.PLANNED, _A.PREPARE, self.facts)),
        )

    def _preparing(self) -> Act:
        unmet = self._unmet(_S.PREPARING, _A.SET_OUT) | self._codes()
        return (
            self._before_setting_out(unmet)
            or self._input("measure")
            or self._recheck(self._unmet(_S.SET_OUT, _A.START_RUN))
            or self._mark_set_out(unmet)
        )

    def _set_out(self) -> Act:
        unmet = self._unmet(_S.SET_OUT, _A.START_RUN)
        return (
            self._before_setting_out(unmet)
            or self._input("measure")
            or self._input("check_set_out")
            or self._recheck(unmet)
            or self._question(ActKind.BEFORE_RUN, Answer.Phase.BEFORE_RUN, "Before the run")
            or self._run(unmet)
        )

    def _running(self) -> Act:
        asked = self._question(ActKind.DURING_RUN, Answer.Phase.DURING_RUN, "While it runs")
        content = self.known.content
        return asked or self._act(
            ActKind.OUTCOME,
            "How did it end?",
            ask=content.run.passes_when or "Passed, failed, or stopped?",
            says=content.run.says,
            caution=content.run.wait_away,
            choices=tuple(Choice(cause, cause) for cause in content.causes),
        )

    def _passed(self) -> Act:
        given = self.known.answers[Answer.Phase.AFTER_CHECK]
        if any(not answer.met for answer in given.values()):
            return self._act(
                ActKind.REJECT,
                "An after-check failed",
                ask="Reject the result, with the cause; or answer again if it was a slip.",
                choices=tuple(Choice(cause, cause) for cause in self.known.content.causes),
                blocked=blocks(calibration_unmet(_S.PASSED, _A.VERIFY, self.facts)),
            )
        asked = self._question(ActKind.AFTER_CHECK, Answer.Phase.AFTER_CHECK, "After the run")
        return asked or self._act(
            ActKind.VERIFY,
            f"Verify: {self.known.content.name}",
            ask="Every after-check is well. Is this calibration finished and cleared away?",
            blocked=blocks(calibration_unmet(_S.PASSED, _A.VERIFY, self.facts)),
        )

    def _again(self) -> Act:
        attempt = self.known.attempt
        return self._act(
            ActKind.ATTEMPT_AGAIN,
            f"{self.known.content.name} {plain(self.calibration.state)}",
            ask="Attempt it again, or write down how the vehicle leaves and who was told.",
            hint=attempt.cause if attempt else "",
            blocked=blocks(
                calibration_unmet(_S(self.calibration.state), _A.ATTEMPT_AGAIN, self.facts)
            ),
        )

    def _before_setting_out(self, unmet: Mapping[str, Unmet]) -> Act | None:
        return (
            self._waits(unmet)
            or self._pre_scan(unmet)
            or self._precondition(unmet)
            or self._equipment(unmet)
        )

    def _waits(self, unmet: Mapping[str, Unmet]) -> Act | None:
        stops = self._of(unmet, "technician_qualified", "prerequisites")
        if not stops:
            return None
        right = "; ".join(block.right for block in stops)
        return self._act(ActKind.BLOCKED, "This cannot go on", ask=right, blocked=stops)

    def _pre_scan(self, unmet: Mapping[str, Unmet]) -> Act | None:
        stops = self._of(unmet, "pre_scan", "blocking_codes")
        if not stops:
            return None
        again = self.facts.pre_scan_taken
        return self._act(
            ActKind.PRE_SCAN,
            "Scan again" if again else "Pre-scan",
            ask="Scan all modules and enter the codes, or that there are none.",
            hint="; ".join(block.right for block in stops) if again else "",
            blocked=stops,
        )

    def _precondition(self, unmet: Mapping[str, Unmet]) -> Act | None:
        given = self.known.answers[Answer.Phase.PRECONDITION]
        all_of = self.known.content.preconditions
        wanted = next((p for p in all_of if p.name not in given), None)
        if wanted is None and "preconditions" in unmet:
            wanted = next(p for p in all_of if not given[p.name].met)
        if wanted is None:
            return None
        answer = given.get(wanted.name)
        return self._asking(
            ActKind.PRECONDITION,
            "Before you start",
            wanted,
            unit=wanted.unit,
            limits=limits_in_words(wanted, self.units),
            hint=(answer.says or wanted.remedy or "Put it right and answer again.")
            if answer
            else "",
            done=sum(1 for p in all_of if p.name in given and given[p.name].met),
            of=len(all_of),
            blocked=self._of(unmet, "preconditions") if answer else (),
        )

    def _equipment(self, unmet: Mapping[str, Unmet]) -> Act | None:
        stops = self._of(unmet, "equipment_missing", "equipment_overdue")
        if not stops:
            return None
        missing = missing_types(self.known) if "equipment_missing" in unmet else ()
        wanted = missing[0] if missing else ""
        needed = sum(item.count for item in self.known.content.equipment)
        overdue = not missing
        return self._act(
            ActKind.USE_EQUIPMENT,
            "Equipment overdue for upkeep" if overdue else f"Equipment: {plain(wanted)}",
            ask="Take another unit, or do the upkeep and enter it."
            if overdue
            else f"Which {plain(wanted)} do you use?",
            name=wanted,
            choices=self._units_of_type(wanted),
            done=max(0, needed - len(missing)),
            of=needed,
            blocked=stops,
        )

    def _units_of_type(self, code: str) -> tuple[Choice, ...]:
        """Units in service, those the plan holds for the step first."""
        rows = EquipmentUnit.objects.for_shop(self.calibration.shop_id).filter(
            type__code=code, state=EquipmentUnit.State.IN_SERVICE
        )
        ids = list(rows.values_list("pk", flat=True))
        found = fitness_of(self.calibration.shop, ids, self.calibration.step_id).values()
        planned = self.calibration.step.unit_codes
        ordered = sorted(found, key=lambda f: (f.unit.code not in planned, f.unit.code))
        return tuple(Choice(f.unit.code, f.unit.name, f"{f.state}: {f.says}") for f in ordered)

    def _input(self, stage: Stage) -> Act | None:
        inputs = self.known.content.worksheet.inputs
        taken = self.known.readings
        for wanted in self.known.content.worksheet.inputs_at(stage):
            for repeat in range(1, wanted.repeats + 1):
                if (wanted.name, repeat) not in taken:
                    return self._act(
                        ActKind.WORKSHEET_INPUT,
                        wanted.label[:1].upper() + wanted.label[1:],
                        ask=wanted.ask,
                        caution=wanted.caution,
                        unit=wanted.unit,
                        hint=self._hint(wanted, repeat),
                        name=wanted.name,
                        repeat=repeat,
                        done=len(taken),
                        of=sum(each.repeats for each in inputs),
                    )
        return None

    def _hint(self, wanted: Input, repeat: int) -> str:
        parts = [f"reading {repeat} of {wanted.repeats}"] if wanted.repeats > 1 else []
        bounds = wanted.plausible
        if bounds is not None and bounds.lower is not None and bounds.upper is not None:
            unit = to_inside(0.0, wanted.unit).unit  # bounds are kept in the inside unit
            low, high = (format_quantity(b, unit, self.units) for b in (bounds.lower, bounds.upper))
            parts.append(f"usual {low} to {high}")
        if wanted.instrument.name:
            parts.append(f"with the {wanted.instrument.name}")
        return ", ".join(parts)

    def _recheck(self, unmet: Mapping[str, Unmet]) -> Act | None:
        """A check judged already that does not hold; measured again, or put right first."""
        stops = self._of(unmet, "checks_failed", "checks_too_close")
        if not stops:
            return None
        wrong = {Verdict.FAIL} if "checks_failed" in unmet else {Verdict.TOO_CLOSE}
        checks = self.known.content.worksheet.checks
        judged = self.known.results.checks
        rule: CheckRule = next(
            c for c in checks if c.name in judged and judged[c.name].verdict in wrong
        )
        passed = sum(1 for c in judged.values() if c.verdict is Verdict.PASS)
        return self._act(
            ActKind.RECHECK,
            rule.label,
            ask=judged[rule.name].says,
            hint=rule.remedy,
            name=rule.name,
            choices=self._inputs_of(rule),
            done=passed,
            of=len(checks),
            blocked=stops,
        )

    def _inputs_of(self, rule: CheckRule) -> tuple[Choice, ...]:
        """The inputs a check hangs on, through whatever is computed between."""
        sheet = self.known.content.worksheet
        computed = {c.name: c.expression.names for c in sheet.computed}
        names, todo = set(), [rule.quantity]
        while todo:
            name = todo.pop()
            names.add(name)
            todo += [n for n in computed.get(name, ()) if n not in names]
        return tuple(Choice(i.name, i.label) for i in sheet.inputs if i.name in names)

    def _mark_set_out(self, unmet: Mapping[str, Unmet]) -> Act:
        content, results = self.known.content, self.known.results
        steps = fill(content.set_out, results.values, self.units)
        return self._act(
            ActKind.SET_OUT,
            "Set out",
            ask="Do each in order, then say that it is set out.",
            says=tuple(step.says for step in steps),
            caution=" ".join(step.caution for step in steps if step.caution),
            blocked=blocks(u for g, u in unmet.items() if g != "blocking_codes"),
        )

    def _run(self, unmet: Mapping[str, Unmet]) -> Act:
        run = self.known.content.run
        return self._act(
            ActKind.RUN,
            f"Start: {self.known.content.name}",
            ask=run.passes_when,
            says=run.says,
            caution=run.wait_away,
            blocked=blocks(unmet.values()),
        )

    def _question(self, kind: ActKind, phase: Answer.Phase, title: str) -> Act | None:
        questions = questions_at(self.known.content, phase)
        given = self.known.answers[phase]
        wanted = next((q for q in questions if q.name not in given or not given[q.name].met), None)
        if wanted is None:
            return None
        met = sum(1 for q in questions if q.name in given and given[q.name].met)
        return self._asking(kind, title, wanted, done=met, of=len(questions))

    def _asking(
        self, kind: ActKind, title: str, question: Question | Precondition, **more: object
    ) -> Act:
        return self._act(
            kind, title, ask=question.ask, caution=question.caution, name=question.name, **more
        )

    def _act(self, kind: ActKind, title: str, **more: object) -> Act:
        attempt = self.known.attempt
        return Act(
            kind,
            title,
            calibration_id=self.calibration.pk,
            attempt_id=attempt.pk if attempt else None,
            **more,  # type: ignore[arg-type]
        )

    def _unmet(self, state: CalibrationState, act: CalibrationAct) -> dict[str, Unmet]:
        return {u.guard: u for u in calibration_unmet(state, act, self.facts)}

    def _codes(self) -> dict[str, Unmet]:
        """Codes that will keep it from running: better known before setting out than after."""
        run = self._unmet(_S.SET_OUT, _A.START_RUN)
        return {guard: run[guard] for guard in ("blocking_codes",) if guard in run}

    def _of(self, unmet: Mapping[str, Unmet], *guards: str) -> tuple[Block, ...]:
        return blocks(unmet[guard] for guard in guards if guard in unmet)
