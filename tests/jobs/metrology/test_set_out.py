"""Setting-out steps with values put in."""

import pytest

from jobs.metrology import SetOutStep, Value, fill
from jobs.metrology.set_out import set_out_faults

STEP = {"order": 1, "says": "Mark {offset} outside the tread.", "uses": ["offset"]}


def test_a_step_tells_its_value_in_the_shops_units():
    steps = [SetOutStep.from_content(STEP)]
    values = {"offset": Value(170, "mm", 0.4, 9)}
    assert fill(steps, values)[0].says == "Mark 17 cm outside the tread."
    assert fill(steps, values, "us")[0].says == "Mark 6 11/16 in outside the tread."


def test_a_step_without_its_value_says_what_it_waits_for():
    (filled,) = fill([SetOutStep.from_content(STEP)], {})
    assert filled.says == "Mark … outside the tread."
    assert filled.waits_for == ("offset",)


@pytest.mark.parametrize(
    ("step", "path"),
    [
        ({**STEP, "uses": []}, "set_out[0].says"),
        ({**STEP, "uses": ["offset", "nowhere"]}, "set_out[0].uses"),
        ({**STEP, "says": "Mark {offset.value}"}, "set_out[0].says"),
        ({**STEP, "says": "Mark {offset!r}"}, "set_out[0].says"),
        ({**STEP, "says": "Mark {offset"}, "set_out[0].says"),
        ({**STEP, "says": "Mark {} here"}, "set_out[0].says"),
    ],
)
def test_a_step_that_cannot_be_filled_is_refused(step, path):
    assert [fault.path for fault in set_out_faults([step], {"offset"})] == [path]


def test_steps_go_up():
    assert set_out_faults([STEP, STEP], {"offset"})[0].path == "set_out[1].order"
