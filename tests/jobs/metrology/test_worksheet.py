"""Worksheets that cannot be used are refused with path and reason."""

import pytest

from jobs.metrology import Worksheet, WorksheetFaults


def sheet(**more):
    content = {
        "inputs": [
            {"name": "left", "unit": "mm"},
            {"name": "right", "unit": "cm"},
            {"name": "toe", "unit": "deg"},
        ],
        "computed": [],
        "checks": [],
    }
    return {**content, **more}


def computed(expr, unit="mm", name="out"):
    return {"name": name, "unit": unit, "expr": expr}


def faults(content):
    with pytest.raises(WorksheetFaults) as refused:
        Worksheet.from_content(content)
    return {fault.path: fault.says for fault in refused.value.errors}


@pytest.mark.parametrize(
    ("expr", "unit", "path", "reason"),
    [
        ("left - gap", "mm", "computed[0].expr", "“gap” is not a name here"),
        ("left + toe", "mm", "computed[0].expr", "mm and deg are added or compared"),
        ("max(left, toe)", "mm", "computed[0].expr", "mm and deg are added or compared"),
        ("left * right", "mm", "computed[0].unit", "comes out in mm ** 2 but says mm"),
        ("left / right", "mm", "computed[0].unit", "comes out as a plain number but says mm"),
        ("atan2(left, right)", "deg", "computed[0].unit", "comes out as a plain number"),
        ("sin(toe)", "1", "computed[0].expr", "sin takes radians"),
        ("degrees(left)", "deg", "computed[0].expr", "degrees of mm has no meaning"),
        ("radians(left)", "1", "computed[0].expr", "radians of mm has no meaning"),
        ("2 + 3", "mm", "computed[0].expr", "follows from no reading"),
        ("left +", "mm", "computed[0].expr", "is not an expression"),
        ("__import__('os')", "mm", "computed[0].expr", "is no function here"),
        ("left.real", "mm", "computed[0].expr", "is not arithmetic a worksheet may use"),
        ("[left][0]", "mm", "computed[0].expr", "is not arithmetic a worksheet may use"),
        ("left if left else 1", "mm", "computed[0].expr", "is not arithmetic"),
        ("left < right", "mm", "computed[0].expr", "is not arithmetic"),
        ("left; right", "mm", "computed[0].expr", "is not an expression"),
        ("left ** 99", "mm", "computed[0].expr", "a power must be a whole number"),
        ("9 ** 9 ** 9", "mm", "computed[0].expr", "a power must be a whole number"),
        ("left ** toe", "mm", "computed[0].expr", "a power must be a whole number"),
        ("hypot(left)", "mm", "computed[0].expr", "hypot takes 2 values"),
        ("abs(left, right)", "mm", "computed[0].expr", "abs takes 1 value"),
        ("'left'", "mm", "computed[0].expr", "is not a number"),
        ("True", "mm", "computed[0].expr", "is not a number"),
        ("-" * 45 + "left", "mm", "computed[0].expr", "nested too deeply"),
        ("1e400 * left", "mm", "computed[0].expr", "too large"),
    ],
)
def test_an_expression_that_cannot_be_is_refused(expr, unit, path, reason):
    found = faults(sheet(computed=[computed(expr, unit)]))
    assert reason in found[path]


@pytest.mark.parametrize(
    ("expr", "unit"),
    [
        ("(2270 - left) / 2", "mm"),
        ("left + right", "in"),
        ("sqrt(left * right)", "mm"),
        ("sqrt(left ** 2 + right ** 2)", "cm"),
        ("left ** 2 / right", "mm"),
        ("degrees(atan2(left - right, 1600))", "deg"),
        ("left * cos(radians(toe))", "mm"),
        ("left / right", "1"),
        ("toe * pi / 2", "deg"),
        ("mean(left, right, 12)", "mm"),
        ("max(left, 0)", "mm"),
        ("-left + +right", "mm"),
        ("2 - -3 + 0 * left", "mm"),
    ],
)
def test_plain_arithmetic_of_one_kind_is_accepted(expr, unit):
    assert Worksheet.from_content(sheet(computed=[computed(expr, unit)])).computed


def test_a_circle_is_refused_and_shown():
    content = sheet(computed=[computed("b + left", name="a"), computed("a - left", name="b")])
    (says,) = faults(content).values()
    assert says in {"runs in a circle: a → b → a", "runs in a circle: b → a → b"}


def test_computed_values_may_stand_in_any_order():
    content = sheet(computed=[computed("b * 2", name="a"), computed("left / 2", name="b")])
    assert [c.name for c in Worksheet.from_content(content).computed] == ["b", "a"]


@pytest.mark.parametrize(
    ("check", "path", "reason"),
    [
        ({"quantity": "left"}, "checks[0]", "can never fail"),
        ({"quantity": "left", "lower": None, "upper": None}, "checks[0]", "can never fail"),
        ({"quantity": "left", "lower": 5, "upper": 4}, "checks[0]", "can never pass"),
        ({"quantity": "left", "lower": 5, "upper": 5}, "checks[0]", "can never pass"),
        ({"quantity": "gap", "upper": 5}, "checks[0].quantity", "is not a name here"),
        ({"quantity": "out", "lower": 0}, "checks[0]", "never below 0"),
        ({"quantity": "fixed", "upper": 5}, "checks[0].quantity", "can never change"),
        ({"quantity": "left", "upper": float("nan")}, "checks[0].upper", "not a finite number"),
        ({"quantity": "left", "upper": "13"}, "checks[0].upper", "must be a number or nothing"),
    ],
)
def test_a_check_that_cannot_decide_is_refused(check, path, reason):
    content = sheet(
        computed=[computed("abs(left - right)")],
        constants=[{"name": "fixed", "unit": "mm", "value": 3}],
        checks=[{"name": "c", **check}],
    )
    assert reason in faults(content)[path]


@pytest.mark.parametrize(
    ("entry", "path", "reason"),
    [
        ({"name": "x", "unit": "furlong"}, "inputs[0].unit", "is not a choice here"),
        ({"name": "x"}, "inputs[0].unit", "is missing"),
        ({"name": "X y", "unit": "mm"}, "inputs[0].name", "not written as it should be"),
        ({"name": "sqrt", "unit": "mm"}, "inputs[0].name", "taken by the arithmetic"),
        ({"name": "pi", "unit": "mm"}, "inputs[0].name", "taken by the arithmetic"),
        ({"name": "x", "unit": "mm", "colour": 1}, "inputs[0].colour", "is no field here"),
        ({"name": "x", "unit": "mm", "repeats": 0}, "inputs[0].repeats", "must be 1 or more"),
        ({"name": "x", "unit": "V", "instrument": {"class": "I"}}, "inputs[0].instrument", "tape"),
        (
            {"name": "x", "unit": "mm", "plausible": {"lower": 2, "upper": 1}},
            "inputs[0].plausible",
            "lower is not below upper",
        ),
    ],
)
def test_an_input_that_cannot_be_is_refused(entry, path, reason):
    assert reason in faults({"inputs": [entry]})[path]


def test_every_fault_is_told_at_once():
    content = sheet(
        computed=[computed("left + nowhere"), computed("right", name="left")],
        checks=[{"name": "c", "quantity": "left"}, {"name": "c", "quantity": "left", "upper": 1}],
    )
    assert set(faults(content)) == {
        "computed[0].expr",
        "computed[1].name",
        "checks[0]",
        "checks[1].name",
    }
