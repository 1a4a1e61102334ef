"""Editions from files, and editions that belong together."""

import copy

import pytest

from jobs.procedures import ProcedureFaults, load_yaml, read_folder, read_set
from tests.jobs.procedures.test_content import FOLDER, MATS, ROAD


def faults(act, *given):
    with pytest.raises(ProcedureFaults) as refused:
        act(*given)
    return [f"{fault.path} {fault.says}" for fault in refused.value.errors]


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("a: [1", "cannot be read as YAML"),
        ("- a\n- b", "must be a group of fields"),
        ("", "must be a group of fields"),
        ("a: 1\nb: 2\na: 3", "line 3: “a” is there twice"),
        ("a: &x 1\nb: *x", "are not used here"),
        ("on: 1", "a field's name must be text"),  # YAML 1.1 reads on as true
        ("a: !!python/object/apply:os.getcwd []", "cannot be read as YAML"),
        ("a: \x00", "cannot be read as YAML"),
        ("[" * 5000, "cannot be read as YAML"),
        ("a: " + "x" * 200_001, "longer than"),
    ],
)
def test_text_that_is_no_edition_is_refused(text, reason):
    (found,) = faults(load_yaml, text)
    assert reason in found


def test_dates_stay_as_written():
    assert load_yaml("dated_on: 2026-03-02") == {"dated_on": "2026-03-02"}


def test_a_set_needs_its_prerequisites():
    (found,) = faults(read_set, {"road.yaml": ROAD})
    assert "road.yaml: needs_first[0] “front_camera_static” is no procedure of this set" in found


def test_a_code_is_used_once_in_a_set():
    (found,) = faults(read_set, {"a.yaml": MATS, "b.yaml": MATS})
    assert "b.yaml: code “surround_view_mats” is the code of a.yaml too" in found


def test_prerequisites_in_a_circle_are_refused():
    one, other = copy.deepcopy(MATS), copy.deepcopy(MATS)
    one["needs_first"], other["code"] = ["other"], "other"
    other["needs_first"] = ["surround_view_mats"]
    (found,) = faults(read_set, {"a.yaml": one, "b.yaml": other})
    assert "runs in a circle" in found


def test_every_faulty_file_of_a_folder_is_told(tmp_path):
    (tmp_path / "a.yaml").write_text("a: [1", encoding="utf-8")
    (tmp_path / "b.yaml").write_text("code: b", encoding="utf-8")
    found = faults(read_folder, tmp_path)
    assert any(line.startswith("a.yaml ") for line in found)
    assert any(line.startswith("b.yaml: name is missing") for line in found)


def test_what_must_come_first_comes_first():
    order = [edition.code for edition in read_folder(FOLDER)]
    assert order.index("wheel_alignment") < order.index("front_radar_static")
    assert order.index("front_camera_static") < order.index("front_camera_dynamic")
