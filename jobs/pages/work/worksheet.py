"""The worksheet as fields, answers and judged limits."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from django.utils.safestring import SafeString

from jobs.drawing import ReadingBar, Verdict, draw_reading_bar
from jobs.drawing.dimensions import circled
from jobs.metrology import (
    Check,
    FilledStep,
    Input,
    Results,
    Units,
    fill,
    format_quantity,
)
from jobs.metrology import Verdict as Judged
from jobs.metrology.wording import metric_length_unit
from jobs.models import Reading
from jobs.pages.work.sheet import orders_of
from jobs.procedures import ProcedureContent
from jobs.selectors.work_pages import UnitFitness

VERDICTS = {
    Judged.PASS: Verdict.PASS,
    Judged.FAIL: Verdict.FAIL,
    Judged.TOO_CLOSE: Verdict.TOO_CLOSE,
}
TAGS = {Judged.PASS: "ok", Judged.FAIL: "stop", Judged.TOO_CLOSE: "tape"}


@dataclass(frozen=True)
class FieldView:
    """One field for one reading: ``key`` is its name in the form."""

    key: str
    repeat: int
    typed: str
    faults: tuple[str, ...] = ()
    read_from: str = ""


@dataclass(frozen=True)
class UnitOption:
    """A unit one may read from: class and fitness in its words."""

    value: str
    says: str
    chosen: bool
    usable: bool
    gone: bool = False


@dataclass(frozen=True)
class InputView:
    """One thing to measure, with as many fields as repeats are asked for."""

    mark: str
    input: Input
    fields: tuple[FieldView, ...]
    inputmode: str = "decimal"


@dataclass(frozen=True)
class InstrumentView:
    """What the readings typed from now on are read from."""

    key: str
    label: str
    options: tuple[UnitOption, ...]


@dataclass(frozen=True)
class CheckView:
    """A limit, judged or still waiting for readings."""

    name: str
    label: str
    tag: str
    verdict: str
    says: str
    bar: SafeString | None
    waits_for: tuple[str, ...] = ()


@dataclass(frozen=True)
class Typed:
    """What a person typed that is not kept yet, and what is wrong with it, by field name."""

    values: Mapping[str, str]
    faults: Mapping[str, tuple[str, ...]]

    @classmethod
    def nothing(cls) -> Typed:
        return cls({}, {})


def reading_key(name: str, repeat: int) -> str:
    """The name of a reading's field in the form."""
    return f"reading-{name}-{repeat}"


def instrument_key(kind: str) -> str:
    """The name of the field that chooses the unit of this type."""
    return f"instrument-{kind}"


def input_views(
    content: ProcedureContent, inputs: Sequence[Input], readings: Sequence[Reading], typed: Typed
) -> list[InputView]:
    """Fields for these inputs, with what is kept or what was typed in them."""
    orders = orders_of(content)
    standing = {(r.name, r.repeat): r for r in readings if r.struck_at is None}
    return [
        InputView(
            mark=circled(orders[wanted.name]),
            input=wanted,
            fields=tuple(
                _field(wanted.name, repeat, standing, typed)
                for repeat in range(1, _repeats(wanted, standing) + 1)
            ),
            inputmode="text" if wanted.unit in ("deg", "1") else "decimal",
        )
        for wanted in inputs
    ]


def instrument_views(
    inputs: Sequence[Input], tools: Sequence[UnitFitness], typed: Typed, used: Collection[int]
) -> list[InstrumentView]:
    """One choice per type of instrument these inputs are read with; units in use come first."""
    kinds = dict.fromkeys(one.instrument.equipment for one in inputs if one.instrument.equipment)
    views = []
    for kind in kinds:
        fitting = [one for one in tools if one.unit.type.code == kind]
        likely = [one for one in fitting if one.unit.pk in used] or [
            one for one in fitting if one.usable
        ]
        chosen = typed.values.get(instrument_key(kind)) or (
            str(likely[0].unit.pk) if likely else ""
        )
        options = tuple(unit_option(one, chosen) for one in fitting)
        label = fitting[0].unit.type.name if fitting else kind.replace("_", " ")
        views.append(InstrumentView(instrument_key(kind), label, options))
    return views


def unit_option(one: UnitFitness, picked: str) -> UnitOption:
    """A unit as a choice; ``picked`` is the value chosen."""
    return UnitOption(
        value=str(one.unit.pk),
        says=unit_words(one),
        chosen=str(one.unit.pk) == picked,
        usable=one.usable,
        gone=one.state == "out of service",
    )


def _repeats(wanted: Input, standing: Mapping[tuple[str, int], Reading]) -> int:
    """As many fields as are asked for, or as were read."""
    return max([wanted.repeats, *(repeat for name, repeat in standing if name == wanted.name)])


def _field(
    name: str, repeat: int, standing: Mapping[tuple[str, int], Reading], typed: Typed
) -> FieldView:
    key = reading_key(name, repeat)
    kept = standing.get((name, repeat))
    value = typed.values.get(key, kept.typed if kept else "")
    read_from = kept.instrument.name if kept and kept.instrument else ""
    return FieldView(key, repeat, value, typed.faults.get(key, ()), read_from)


def unit_words(one: UnitFitness) -> str:
    """A unit with its class and fitness: ``Tape 3 (10 m), class I, fit``."""
    kind = f", class {one.unit.accuracy_class}" if one.unit.accuracy_class else ""
    return f"{one.unit.name}{kind}, {one.state}"


def check_views(content: ProcedureContent, results: Results, units: Units) -> list[CheckView]:
    """Every limit in the order of the worksheet, judged where its readings are there."""
    labels = content.worksheet.labels()
    needs = {c.name: c.expression.names for c in content.worksheet.computed}
    missing = {*results.missing, *(error.path.split("[")[0] for error in results.errors)}
    views = []
    for rule in content.worksheet.checks:
        judged = results.checks.get(rule.name)
        if judged is None:
            waits = sorted(_causes(rule.quantity, needs) & missing)
            views.append(
                CheckView(
                    rule.name,
                    rule.label,
                    "",
                    "not measured yet",
                    "",
                    None,
                    tuple(labels[name] for name in waits if name in labels),
                )
            )
            continue
        views.append(
            CheckView(
                rule.name,
                rule.label,
                TAGS[judged.verdict],
                str(judged.verdict),
                judged.says,
                bar_of(rule.name, rule.label, judged, units),
            )
        )
    return views


def _causes(name: str, needs: Mapping[str, Collection[str]]) -> set[str]:
    found, waiting = set(), [name]
    while waiting:
        here = waiting.pop()
        if here not in found:
            found.add(here)
            waiting.extend(needs.get(here, ()))
    return found


def bar_of(name: str, label: str, judged: Check, units: Units) -> SafeString:
    """A judged value with its spread (k = 2) against its limits."""
    expanded = 2 * judged.standard_uncertainty

    # A value and its limits read alike, in one unit; the spread is small and keeps its own.
    largest = max(abs(v) for v in (judged.value, judged.lower, judged.upper) if v is not None)
    of = metric_length_unit(largest) if judged.unit == "mm" else ""

    def told(number: float) -> str:
        return format_quantity(number, judged.unit, units, finely=True, of=of)

    half_width = format_quantity(expanded, judged.unit, units, finely=True)
    spread = f" ± {half_width}" if expanded else ""
    return draw_reading_bar(
        ReadingBar(
            name=label,
            value=judged.value,
            expanded_uncertainty=expanded,
            verdict=VERDICTS[judged.verdict],
            value_says=f"{told(judged.value)}{spread}",
            lower=judged.lower,
            upper=judged.upper,
            lower_says="" if judged.lower is None else f"at least {told(judged.lower)}",
            upper_says="" if judged.upper is None else f"limit {told(judged.upper)}",
            id=f"bar-{name}",
        )
    )


@dataclass(frozen=True)
class StepView:
    """A setting-out sentence with its order and its caution."""

    mark: str
    says: str
    caution: str
    spread: str
    waits_for: tuple[str, ...]


def step_views(content: ProcedureContent, results: Results, units: Units) -> list[StepView]:
    """The set-out in tape order, values put in, with how sure they are."""
    labels = content.worksheet.labels()
    uses = {step.order: step.uses for step in content.set_out}
    return [
        StepView(
            circled(step.order),
            step.says,
            step.caution,
            _spread(step, uses[step.order], content, results, units),
            tuple(labels[name] for name in step.waits_for if name in labels)
            if "…" in step.says
            else (),
        )
        for step in fill(content.set_out, results.values, units)
    ]


def _spread(
    step: FilledStep,
    uses: Sequence[str],
    content: ProcedureContent,
    results: Results,
    units: Units,
) -> str:
    """How sure the first computed value of a step is, with the instrument used (k = 2)."""
    computed = {one.name for one in content.worksheet.computed}
    for name in uses:
        found = results.values.get(name)
        if name in computed and found is not None and found.standard_uncertainty:
            told = format_quantity(2 * found.standard_uncertainty, found.unit, units, finely=True)
            return f"± {told} with what it was read with"
    return ""
