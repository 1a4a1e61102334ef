"""A worksheet: what to measure, what follows from it, and the limits it must keep."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from graphlib import CycleError, TopologicalSorter
from typing import Any, Literal, Self

import pint

from jobs.metrology.expressions import (
    CONSTANTS,
    FUNCTIONS,
    Expression,
    ExpressionRefused,
    parse_expression,
)
from jobs.metrology.instruments import Instrument
from jobs.metrology.quantities import factor, inside_unit, registry
from jobs.metrology.schema import WORKSHEET_SCHEMA, shape_faults
from shopcal.errors import FieldError, Invalid

Stage = Literal["measure", "check_set_out"]


class WorksheetFaults(Invalid):
    """The worksheet cannot be used; ``errors`` holds every fault with its path."""

    def __init__(self, errors: Sequence[FieldError]) -> None:
        super().__init__("worksheet_faults", "This worksheet cannot be used.", errors=errors)


@dataclass(frozen=True)
class Limits:
    """Bounds in the inside unit; None leaves that side open."""

    lower: float | None
    upper: float | None


@dataclass(frozen=True)
class Input:
    """One thing to measure. ``unit`` is what a bare number is taken to be in."""

    name: str
    label: str
    ask: str
    unit: str
    instrument: Instrument
    repeats: int
    stage: Stage
    plausible: Limits | None
    caution: str


@dataclass(frozen=True)
class Constant:
    """A value the service information fixes, in the inside unit."""

    name: str
    label: str
    unit: str
    value: float
    standard_uncertainty: float


@dataclass(frozen=True)
class Computed:
    """A value that follows from others."""

    name: str
    label: str
    unit: str
    expression: Expression


@dataclass(frozen=True)
class CheckRule:
    """A quantity and the limits it must keep (inside unit); ``remedy`` says what to do if not."""

    name: str
    label: str
    quantity: str
    unit: str
    limits: Limits
    remedy: str


@dataclass(frozen=True)
class Worksheet:
    """Inputs in the order to measure them; computed values in an order they can be computed."""

    inputs: tuple[Input, ...]
    constants: tuple[Constant, ...]
    computed: tuple[Computed, ...]
    checks: tuple[CheckRule, ...]

    @classmethod
    def from_content(cls, content: Mapping[str, Any]) -> Self:
        """Read a worksheet: ``inputs``, ``constants``, ``computed``, ``checks``.

        Limits and plausible bounds are in the unit of their quantity.

        Raises:
            WorksheetFaults: every fault with its path: shape, unknown names, cycles, units that
                cannot be, checks that cannot fail or cannot pass.
        """
        faults = shape_faults(WORKSHEET_SCHEMA, content)
        if faults:
            raise WorksheetFaults(faults)
        reading = _Reading(content)
        reading.find_faults()
        if reading.faults:
            raise WorksheetFaults(reading.faults)
        expressions = reading.expressions
        by_name = {entry["name"]: entry for entry in content.get("computed", ())}
        return cls(
            inputs=tuple(_input(entry) for entry in content["inputs"]),
            constants=tuple(_constant(entry) for entry in content.get("constants", ())),
            computed=tuple(_computed(by_name[n], expressions[n]) for n in reading.order),
            checks=tuple(_check(entry, reading.units) for entry in content.get("checks", ())),
        )

    @property
    def quantities(self) -> tuple[Input | Constant | Computed, ...]:
        """Return everything that has a value: inputs, constants, then computed values."""
        return (*self.inputs, *self.constants, *self.computed)

    @property
    def names(self) -> frozenset[str]:
        """Return the names of all quantities."""
        return frozenset(quantity.name for quantity in self.quantities)

    def inputs_at(self, stage: Stage) -> tuple[Input, ...]:
        """Return what to measure before setting out, or after it."""
        return tuple(entry for entry in self.inputs if entry.stage == stage)

    def labels(self) -> dict[str, str]:
        """Return each quantity's words for people."""
        return {quantity.name: quantity.label for quantity in self.quantities}


class _Reading:
    """Finds every fault of meaning in content whose shape is right."""

    def __init__(self, content: Mapping[str, Any]) -> None:
        self.content = content
        self.faults: list[FieldError] = []
        self.units: dict[str, str] = {}
        self.expressions: dict[str, Expression] = {}
        self.order: tuple[str, ...] = ()
        self.measured: set[str] = {entry["name"] for entry in content["inputs"]}

    def find_faults(self) -> None:
        self._names()
        self._inputs()
        self._parse()
        self._unknown_names()
        self._put_in_order()
        if not self.faults:
            self._check_units()
        for index, check in enumerate(self.content.get("checks", ())):
            self._check_can_decide(check, f"checks[{index}]")

    def _add(self, path: str, says: str, right: str = "") -> None:
        self.faults.append(FieldError(path, says, right))

    def _entries(self, *groups: str) -> Iterator[tuple[str, Mapping[str, Any]]]:
        for group in groups:
            for index, entry in enumerate(self.content.get(group, ())):
                yield f"{group}[{index}]", entry

    def _names(self) -> None:
        for path, entry in self._entries("inputs", "constants", "computed"):
            name = entry["name"]
            if name in self.units:
                self._add(f"{path}.name", f"“{name}” is used twice", "Every name once.")
            elif name in FUNCTIONS or name in CONSTANTS:
                self._add(f"{path}.name", f"“{name}” is taken by the arithmetic")
            self.units.setdefault(name, entry["unit"])
        seen: set[str] = set()
        for path, entry in self._entries("checks"):
            if entry["name"] in seen:
                self._add(f"{path}.name", f"“{entry['name']}” is used twice", "Every name once.")
            seen.add(entry["name"])

    def _inputs(self) -> None:
        for path, entry in self._entries("inputs"):
            try:
                Instrument.from_content(entry.get("instrument", {}), entry["unit"])
            except ValueError as fault:
                self._add(f"{path}.instrument", str(fault))
            bounds = entry.get("plausible")
            if bounds and bounds["lower"] >= bounds["upper"]:
                self._add(f"{path}.plausible", "lower is not below upper")

    def _parse(self) -> None:
        for path, entry in self._entries("computed"):
            try:
                self.expressions[entry["name"]] = parse_expression(entry["expr"])
            except ExpressionRefused as fault:
                self._add(f"{path}.expr", fault.says, fault.right)

    def _unknown_names(self) -> None:
        known = ", ".join(sorted(self.units))
        for path, entry in self._entries("computed"):
            expression = self.expressions.get(entry["name"])
            for name in sorted(expression.names - set(self.units)) if expression else ():
                self._add(f"{path}.expr", f"“{name}” is not a name here", f"Names: {known}.")
        for path, entry in self._entries("checks"):
            if entry["quantity"] not in self.units:
                says = f"“{entry['quantity']}” is not a name here"
                self._add(f"{path}.quantity", says, f"Names: {known}.")

    def _put_in_order(self) -> None:
        uses = {name: e.names & set(self.expressions) for name, e in self.expressions.items()}
        try:
            self.order = tuple(TopologicalSorter(uses).static_order())
        except CycleError as fault:
            circle = list(reversed(fault.args[1]))
            path = next(p for p, e in self._entries("computed") if e["name"] == circle[0])
            self._add(f"{path}.expr", f"runs in a circle: {' → '.join(circle)}")

    def _check_units(self) -> None:
        units = {name: _algebra(unit) for name, unit in self.units.items()}
        paths = {entry["name"]: (path, entry) for path, entry in self._entries("computed")}
        for name in self.order:
            path, entry = paths[name]
            try:
                found = self.expressions[name].unit(units)
            except ExpressionRefused as fault:
                self._add(f"{path}.expr", fault.says, fault.right)
                continue
            if found is not None and found != units[name]:
                says = f"comes out in {found:~} but says {entry['unit']}"
                self._add(f"{path}.unit", says.replace(" in  but", " as a plain number but"))
            if self.expressions[name].names & self.measured:
                self.measured.add(name)
            else:
                says = "follows from no reading"
                self._add(f"{path}.expr", says, "Write a fixed value under constants.")

    def _check_can_decide(self, check: Mapping[str, Any], path: str) -> None:
        lower, upper = check.get("lower"), check.get("upper")
        if lower is None and upper is None:
            self._add(path, "can never fail: it has no limit", "Give lower, upper or both.")
        elif lower is not None and upper is not None and lower >= upper:
            self._add(path, f"can never pass: lower {lower:g} is not below upper {upper:g}")
        expression = self.expressions.get(check["quantity"])
        never_negative = expression is not None and expression.is_never_negative
        if upper is None and lower is not None and lower <= 0 and never_negative:
            self._add(path, "can never fail: its quantity is never below 0")
        known = check["quantity"] in self.units and not self.faults
        if known and check["quantity"] not in self.measured:
            self._add(f"{path}.quantity", "can never change: it follows from no reading")


def _algebra(unit: str) -> pint.Unit:
    inside = inside_unit(unit)
    found: pint.Unit = registry().dimensionless if inside == "1" else registry().Unit(inside)
    return found


def _inside(value: float | None, unit: str) -> float | None:
    return None if value is None else value * factor(unit)


def _limits(entry: Mapping[str, Any], unit: str) -> Limits:
    return Limits(_inside(entry.get("lower"), unit), _inside(entry.get("upper"), unit))


def _label(entry: Mapping[str, Any]) -> str:
    return str(entry.get("label") or entry["name"].replace("_", " "))


def _input(entry: Mapping[str, Any]) -> Input:
    plausible = entry.get("plausible")
    return Input(
        name=entry["name"],
        label=_label(entry),
        ask=entry.get("ask", ""),
        unit=entry["unit"],
        instrument=Instrument.from_content(entry.get("instrument", {}), entry["unit"]),
        repeats=entry.get("repeats", 1),
        stage=entry.get("stage", "measure"),
        plausible=_limits(plausible, entry["unit"]) if plausible else None,
        caution=entry.get("caution", ""),
    )


def _constant(entry: Mapping[str, Any]) -> Constant:
    scale = factor(entry["unit"])
    return Constant(
        name=entry["name"],
        label=_label(entry),
        unit=entry["unit"],
        value=entry["value"] * scale,
        standard_uncertainty=entry.get("u", 0.0) * scale,
    )


def _computed(entry: Mapping[str, Any], expression: Expression) -> Computed:
    return Computed(entry["name"], _label(entry), entry["unit"], expression)


def _check(entry: Mapping[str, Any], units: Mapping[str, str]) -> CheckRule:
    unit = units[entry["quantity"]]
    return CheckRule(
        name=entry["name"],
        label=_label(entry),
        quantity=entry["quantity"],
        unit=inside_unit(unit),
        limits=_limits(entry, unit),
        remedy=entry.get("remedy", ""),
    )
