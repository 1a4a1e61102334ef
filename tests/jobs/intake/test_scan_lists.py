"""Scans as typed, pasted or exchanged, and pre-scan against post-scan."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.intake.trouble_codes import ScanEntry, compare, parse, parse_csv, parse_json, parse_list

CODES = st.from_regex(r"[PCBU][0-3][1-9A-F][0-9A-F]{2}(-[0-9A-F]{2})?", fullmatch=True)


def told(scan):
    return [(entry.module, entry.code.text, entry.status) for entry in scan.entries]


def places(scan):
    return [(error.line, error.code) for error in scan.errors]


def test_module_name_holds_for_its_line_or_for_the_lines_below():
    scan = parse_list("C1000\nFront camera:\nC1A2B-16\n\nFront radar: C1B00\nU0415")
    assert told(scan) == [
        ("", "C1000", ""),
        ("Front camera", "C1A2B-16", ""),
        ("Front radar", "C1B00", ""),
        ("Front camera", "U0415", ""),
    ]
    assert scan.errors == ()


def test_number_in_a_modules_name_is_no_code():
    assert told(parse_list("360 camera: C1000")) == [("360 camera", "C1000", "")]
    assert places(parse_list("0420\n96A1-23")) == [(1, "no_letter"), (2, "letter")]


def test_status_belongs_to_the_codes_before_it():
    scan = parse_list("U0415, U0416 pending; U0100 confirmed C1000")
    assert [entry.status for entry in scan.entries] == ["pending", "pending", "stored", ""]


def test_failure_type_after_a_colon_is_no_module():
    assert told(parse_list("C1A2B:16 history")) == [("", "C1A2B-16", "history")]


def test_description_is_kept_and_ordinary_words_are_not_taken_for_codes():
    scan = parse_list("P0351 ignition coil idle load, oil B1S2 12 V")
    assert told(scan) == [("", "P0351", "")]
    assert scan.entries[0].description == "ignition coil idle load oil B1S2 12 V"
    assert scan.errors == ()


def test_every_bad_line_is_reported_with_its_number_and_what_would_be_right():
    scan = parse_list("PO420\n# remark\nhello there\nU0415 X0420\n\nP0000\nP042 P0301")
    assert places(scan) == [
        (1, "slip"),
        (3, "no_code"),
        (4, "letter"),
        (6, "filler"),
        (7, "form"),
    ]
    assert all(error.right for error in scan.errors)
    assert told(scan) == [("", "U0415", ""), ("", "P0301", "")]


def test_code_repeated_is_merged_and_keeps_the_stronger_status():
    scan = parse_list("Camera: U0415 pending\ncamera: U0415 active\nRadar: U0415 stored")
    assert told(scan) == [("Camera", "U0415", "active"), ("Radar", "U0415", "stored")]
    assert scan.merged == 1


def test_endless_text_is_refused_as_a_whole():
    scan = parse_list("U0415\n" * 200_000)
    assert (scan.entries, len(scan.errors)) == ((), 1)


@given(st.text("PCBU0123456789AF:-,; \noOxcoil#", max_size=80))
def test_no_line_of_typed_text_is_lost_silently(text):
    scan = parse_list(text)
    seen = {entry.line for entry in scan.entries} | {error.line for error in scan.errors}
    for number, line in enumerate(text.splitlines(), 1):
        content = line.strip()
        if content and content[0] != "#" and ":" not in content and not scan.merged:
            assert number in seen or set(content) <= set("-,;")


def test_csv_takes_columns_in_any_order_and_other_separators():
    scan = parse_csv("\ufeffStatus;Code;Module;Note\r\nstored;C1A2B-16;Front camera;x\r\n")
    assert told(scan) == [("Front camera", "C1A2B-16", "stored")]


def test_csv_errors_carry_the_line_of_the_file():
    text = (
        'module,code,status\n"Two\nlines",C1000,stored\nA,PO420,\nB,C1000\nC,U0415,odd\n\nD,C1000,'
    )
    scan = parse_csv(text)
    assert places(scan) == [(4, "slip"), (5, "cells"), (6, "status")]
    assert [entry.line for entry in scan.entries] == [2, 8]


@pytest.mark.parametrize(
    "text", ["", "code,status\nC1000,stored", "module,code,code\nA,C1000,C1001"]
)
def test_csv_without_its_columns_reads_nothing(text):
    scan = parse_csv(text)
    assert (scan.entries, [error.code for error in scan.errors]) == ((), ["columns"])


def test_csv_with_broken_quotes_says_that_nothing_below_was_read():
    scan = parse_csv('module,code,status\nA,C1000,stored\nB,"C10"01,stored\nC,C1002,stored')
    assert told(scan) == [("A", "C1000", "stored")]
    assert places(scan) == [(3, "quotes")]


def test_json_errors_carry_the_path_of_the_value():
    content = {
        "modules": [
            {"name": "Front camera", "codes": [{"code": "C1A2B-16", "status": "stored"}, {}]},
            {"codes": []},
            {"name": "Radar", "codes": [{"code": "PO420"}, {"code": "C1000", "status": "odd"}]},
            {"name": "Mirror"},
        ]
    }
    scan = parse_json(json.dumps(content))
    assert told(scan) == [("Front camera", "C1A2B-16", "stored")]
    assert [error.where for error in scan.errors] == [
        "modules[0].codes[1].code",
        "modules[1].name",
        "modules[2].codes[0].code",
        "modules[2].codes[1].status",
        "modules[3].codes",
    ]


@pytest.mark.parametrize("text", ["", "[]", "{}", '{"modules": {}}', "[" * 200_000, "1" * 9999])
def test_text_that_is_not_our_json_is_one_error(text):
    scan = parse_json(text)
    assert (scan.entries, len(scan.errors)) == ((), 1)


def test_broken_json_names_the_line():
    assert parse_json('{"modules": [\n{"name": "A",\n]}').errors[0].line == 3


@given(st.lists(CODES, unique=True, max_size=8))
def test_three_formats_tell_the_same_codes(codes):
    typed = parse_list("Camera:\n" + "\n".join(codes))
    table = parse_csv("module,code\n" + "\n".join(f"Camera,{code}" for code in codes))
    content = {"modules": [{"name": "Camera", "codes": [{"code": code} for code in codes]}]}
    assert told(typed) == told(table) == told(parse_json(json.dumps(content)))
    assert len(typed.entries) == len(codes)


def entry(module, code):
    return ScanEntry(module, parse(code))


def test_post_scan_shows_what_was_cleared_stayed_and_came():
    pre = [entry("Camera", "C1A2B-16"), entry("Radar", "U0415")]
    post = [entry("camera", "C1A2B-16"), entry("Camera", "U0100")]
    found = compare(pre, post)
    assert found.cleared == (pre[1],)
    assert found.remaining == (post[0],)
    assert found.new == (post[1],)


def test_another_failure_type_is_another_fault():
    found = compare([entry("Camera", "C1A2B-16")], [entry("Camera", "C1A2B-12")])
    assert (len(found.cleared), len(found.new)) == (1, 1)


def test_code_typed_without_module_or_failure_type_pairs_after_the_exact_pairs():
    pre = [entry("", "C1A2B"), entry("Camera", "C1A2B-16")]
    post = [entry("Radar", "C1A2B-12"), entry("Camera", "C1A2B-16")]
    found = compare(pre, post)
    assert (found.cleared, found.new) == ((), ())
    assert found.remaining == tuple(post)
    assert compare(pre, post[1:]).cleared == (pre[0],)


@given(st.lists(CODES, max_size=6), st.lists(CODES, max_size=6))
def test_every_entry_of_both_scans_is_accounted_for_once(pre, post):
    before, after = [entry("A", c) for c in pre], [entry("A", c) for c in post]
    found = compare(before, after)
    assert len(found.cleared) + len(found.remaining) == len(before)
    assert len(found.new) + len(found.remaining) == len(after)
