"""Arithmetic in worksheets: plain Python expressions, read safely, checked by dimension.

Expressions are evaluated on numbers in mm, deg, V, kPa and min. A bare number takes the unit of
what it is added to. Sines and their kin take radians, as in Python: ``sin(radians(toe))``.
"""

from __future__ import annotations

import ast
import math
import operator
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Final, TypeAlias

import pint
import simpleeval
from uncertainties import UFloat, umath

from jobs.metrology.quantities import registry
from shopcal.errors import Refusal

_MOST_CHARACTERS: Final = 500
_DEEPEST: Final = 40
_LARGEST_POWER: Final = 6
_LARGEST_NUMBER: Final = 1e12
CONSTANTS: Final = {"pi": math.pi}

Number: TypeAlias = float | UFloat


class ExpressionRefused(Refusal):
    """The expression is not one a worksheet may hold."""

    default_status = 422

    def __init__(self, says: str, right: str = "") -> None:
        super().__init__("expression_refused", says, detail=right)
        self.says = says
        self.right = right


def _nominal(value: Number) -> float:
    return float(getattr(value, "nominal_value", value))


def _mean(*values: Number) -> Number:
    total: Number = values[0]
    for value in values[1:]:
        total = total + value
    return total / len(values)


def _absolute(value: Number) -> Number:
    return value if _nominal(value) >= 0 else -value


# max and min follow the value that is largest or smallest as read: first order, good while the
# others are further away than their uncertainty.
FUNCTIONS: Final[Mapping[str, Callable[..., Any]]] = {
    "sqrt": umath.sqrt,
    "hypot": umath.hypot,
    "sin": umath.sin,
    "cos": umath.cos,
    "tan": umath.tan,
    "atan2": umath.atan2,
    "degrees": umath.degrees,
    "radians": umath.radians,
    "mean": _mean,
    "max": lambda *values: max(values, key=_nominal),
    "min": lambda *values: min(values, key=_nominal),
    "abs": _absolute,
}
_ARGUMENTS: Final = {
    "hypot": (2, 2),
    "atan2": (2, 2),
    "mean": (1, 99),
    "max": (2, 99),
    "min": (2, 99),
}
_OPERATORS: Final[Mapping[type[ast.AST], Callable[..., Any]]] = {
    ast.Add: operator.add,
    ast.Sub: operator.sub,
    ast.Mult: operator.mul,
    ast.Div: operator.truediv,
    ast.Pow: operator.pow,
    ast.USub: operator.neg,
    ast.UAdd: operator.pos,
}


@dataclass(frozen=True)
class Expression:
    """A parsed expression and the names it uses."""

    text: str
    names: frozenset[str]
    node: ast.expr = field(repr=False, compare=False)

    @property
    def is_never_negative(self) -> bool:
        """Say whether the whole is an absolute value, a root or a length of a hypotenuse."""
        return (
            isinstance(self.node, ast.Call)
            and isinstance(self.node.func, ast.Name)
            and self.node.func.id in {"abs", "sqrt", "hypot"}
        )

    def value(self, names: Mapping[str, Number]) -> Number:
        """Evaluate on numbers, uncertain or not.

        Raises:
            ArithmeticError, ValueError: no value at these numbers (a root of a negative, ...).
        """
        found: Number = _run(self, {**CONSTANTS, **names}, FUNCTIONS, _OPERATORS)
        return found

    def unit(self, units: Mapping[str, pint.Unit]) -> pint.Unit | None:
        """Return the unit that comes out, or None when only bare numbers go in.

        Raises:
            ExpressionRefused: quantities of different kinds are added, compared or misused.
        """
        names = {**dict.fromkeys(CONSTANTS, _BARE), **units}
        found = _run(self, names, _UNIT_FUNCTIONS, _UNIT_OPERATORS)
        return found if isinstance(found, pint.Unit) else None


def parse_expression(text: str) -> Expression:
    """Parse ``text``.

    Raises:
        ExpressionRefused: not an expression, or one that uses more than plain arithmetic and
            the functions named in ``FUNCTIONS``.
    """
    if len(text) > _MOST_CHARACTERS:
        raise ExpressionRefused(f"longer than {_MOST_CHARACTERS} characters", "Split it in two.")
    try:
        node = ast.parse(text.strip(), mode="eval").body
    except (SyntaxError, ValueError, RecursionError, MemoryError) as fault:
        raise ExpressionRefused(f"“{text}” is not an expression", "Write (a - b) / 2.") from fault
    names: set[str] = set()
    _check(node, names, 0)
    return Expression(text, frozenset(names - set(CONSTANTS)), node)


def _check(node: ast.AST, names: set[str], depth: int) -> None:
    if depth > _DEEPEST:
        raise ExpressionRefused("nested too deeply", "Split it in two.")
    match node:
        case ast.Constant(value=bool()) | ast.Constant(value=str()):
            raise ExpressionRefused(f"{node.value!r} is not a number")
        case ast.Constant(value=int() | float() as number):
            if abs(number) > _LARGEST_NUMBER:
                raise ExpressionRefused("a number is too large")
        case ast.Name():
            names.add(node.id)
        case ast.UnaryOp(op=ast.USub() | ast.UAdd()):
            _check(node.operand, names, depth + 1)
        case ast.BinOp(op=ast.Pow()):
            _check_power(node)
            _check(node.left, names, depth + 1)
        case ast.BinOp(op=ast.Add() | ast.Sub() | ast.Mult() | ast.Div()):
            _check(node.left, names, depth + 1)
            _check(node.right, names, depth + 1)
        case ast.Call():
            _check_call(node)
            for argument in node.args:
                _check(argument, names, depth + 1)
        case _:
            raise ExpressionRefused(
                f"“{ast.unparse(node)}” is not arithmetic a worksheet may use",
                f"Use + - * / ** and {', '.join(FUNCTIONS)}.",
            )


def _check_power(node: ast.BinOp) -> None:
    power = node.right.operand if isinstance(node.right, ast.UnaryOp) else node.right
    if (
        not isinstance(power, ast.Constant)
        or type(power.value) is not int
        or not 1 <= power.value <= _LARGEST_POWER
    ):
        raise ExpressionRefused(
            f"a power must be a whole number up to {_LARGEST_POWER}", "Use sqrt for roots."
        )


def _check_call(node: ast.Call) -> None:
    name = node.func.id if isinstance(node.func, ast.Name) else ast.unparse(node.func)
    if name not in FUNCTIONS:
        raise ExpressionRefused(f"“{name}” is no function here", f"Use {', '.join(FUNCTIONS)}.")
    least, most = _ARGUMENTS.get(name, (1, 1))
    if node.keywords or not least <= len(node.args) <= most:
        wants = str(least) if least == most else f"{least} or more"
        raise ExpressionRefused(f"{name} takes {wants} value{'s' if wants != '1' else ''}")


def _run(
    expression: Expression,
    names: Mapping[str, Any],
    functions: Mapping[str, Callable[..., Any]],
    operators: Mapping[type[ast.AST], Callable[..., Any]],
) -> Any:
    evaluator = simpleeval.SimpleEval(
        operators=dict(operators), functions=dict(functions), names=dict(names)
    )
    return evaluator.eval(expression.text, previously_parsed=expression.node)


# Evaluating with units: names are pint units, bare numbers stay numbers and fit any unit.
_BARE: Final = 1.0


def _is_unit(value: object) -> bool:
    return isinstance(value, pint.Unit)


def _angle() -> pint.Unit:
    return registry().Unit("deg")


def _alike(*values: Any) -> Any:
    found = [value for value in values if _is_unit(value)]
    for value in found[1:]:
        if value != found[0]:
            raise ExpressionRefused(
                f"{_word(found[0])} and {_word(value)} are added or compared",
                "Only quantities of one kind can be.",
            )
    return found[0] if found else _BARE


def _product(sign: int) -> Callable[[Any, Any], Any]:
    def multiply(left: Any, right: Any) -> Any:
        one = registry().dimensionless
        a, b = (value if _is_unit(value) else one for value in (left, right))
        if not (_is_unit(left) or _is_unit(right)):
            return _BARE
        return a * b if sign > 0 else a / b

    return multiply


def _power(base: Any, exponent: float) -> Any:
    return base**exponent if _is_unit(base) else _BARE


def _ratio_only(name: str) -> Callable[[Any], Any]:
    def check(value: Any) -> Any:
        if _is_unit(value) and value == _angle():
            raise ExpressionRefused(f"{name} takes radians", f"Write {name}(radians(…)).")
        if _is_unit(value) and value != registry().dimensionless:
            raise ExpressionRefused(f"{name} of {_word(value)} has no meaning")
        return registry().dimensionless

    return check


def _to_ratio(*values: Any) -> pint.Unit:
    _alike(*values)
    return registry().dimensionless


def _to_degrees(value: Any) -> pint.Unit:
    _ratio_only("degrees")(value)
    return _angle()


def _to_radians(value: Any) -> pint.Unit:
    if _is_unit(value) and value != _angle():
        raise ExpressionRefused(f"radians of {_word(value)} has no meaning", "It takes an angle.")
    return registry().dimensionless


def _word(unit: pint.Unit) -> str:
    return "a plain number" if unit == registry().dimensionless else f"{unit:~}"


_UNIT_FUNCTIONS: Final[Mapping[str, Callable[..., Any]]] = {
    "sqrt": lambda value: value**0.5 if _is_unit(value) else _BARE,
    "sin": _ratio_only("sin"),
    "cos": _ratio_only("cos"),
    "tan": _ratio_only("tan"),
    "atan2": _to_ratio,
    "degrees": _to_degrees,
    "radians": _to_radians,
    **dict.fromkeys(["hypot", "mean", "max", "min", "abs"], _alike),
}
_UNIT_OPERATORS: Final[Mapping[type[ast.AST], Callable[..., Any]]] = {
    ast.Add: _alike,
    ast.Sub: _alike,
    ast.Mult: _product(1),
    ast.Div: _product(-1),
    ast.Pow: _power,
    ast.USub: lambda value: value if _is_unit(value) else -value,
    ast.UAdd: lambda value: value,
}
