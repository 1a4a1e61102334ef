"""One trouble code: its form, its bytes, patterns. Outside checks: tests/reference."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.intake.trouble_codes import CodeRefused, check_pattern, from_bytes, is_blocking, parse

BYTE = st.integers(0, 255)


@pytest.mark.parametrize("text", ["C1A2B-16", "c1a2b:16", "  C1A2B-16 "])
def test_failure_type_follows_a_hyphen_or_a_colon(text):
    code = parse(text)
    assert (code.code, code.failure_type, code.text) == ("C1A2B", "16", "C1A2B-16")


@pytest.mark.parametrize(
    ("text", "system", "controlled_by"),
    # Groups of SAE J2012; the split of P3 is from memory.
    [
        ("P0420", "powertrain", "standard"),
        ("P1A20", "powertrain", "maker"),
        ("P33FF", "powertrain", "maker"),
        ("P3400", "powertrain", "standard"),
        ("C0035", "chassis", "standard"),
        ("B2100", "body", "maker"),
        ("B3000", "body", "reserved"),
        ("U0415", "network", "standard"),
        ("U1000", "network", "maker"),
    ],
)
def test_letter_tells_the_system_and_first_digit_who_sets_the_meaning(text, system, controlled_by):
    code = parse(text)
    assert (code.system, code.controlled_by) == (system, controlled_by)


@pytest.mark.parametrize(
    ("text", "code", "right"),
    [
        ("PO420", "slip", "P0420"),
        ("U04I5", "slip", "U0415"),
        ("C1A2B16", "failure_type", "C1A2B-16"),
        ("96A1", "no_letter", "B16A1"),
        ("0x96A123", "no_letter", "B16A1-23"),
        ("P4123", "digit", "0 to 3"),
        ("X1234", "letter", "P, C, B or U"),
        ("P042", "form", "three characters"),
        ("P0420-1", "failure_type", "P0420-16"),
        ("", "empty", "like C1A2B"),
        ("Р0420", "letter", "P, C, B or U"),  # a Cyrillic letter
    ],
)
def test_refusal_says_what_would_be_right(text, code, right):
    with pytest.raises(CodeRefused) as caught:
        parse(text)
    assert caught.value.code == code
    assert right in caught.value.right


@given(BYTE, BYTE, st.none() | BYTE)
def test_bytes_and_text_tell_the_same_code(first, second, failure_type):
    code = from_bytes(first, second, failure_type)
    assert parse(code.text) == code
    sent = bytes((first, second)) if failure_type is None else bytes((first, second, failure_type))
    assert code.to_bytes() == sent


@pytest.mark.parametrize("numbers", [(256, 0), (0, -1), (0, 0, 300)])
def test_number_that_is_no_byte_is_refused(numbers):
    with pytest.raises(CodeRefused):
        from_bytes(*numbers)


def code_or_refusal(text):
    try:
        return parse(text)
    except CodeRefused as refused:
        return refused


@given(st.text(max_size=12) | st.text("PCBUpcbu0123456789ABFabfOI-: x", max_size=9))
def test_any_text_gives_a_code_or_a_refusal_in_words(text):
    result = code_or_refusal(text)
    if isinstance(result, CodeRefused):
        assert result.says
        assert result.right
    else:
        assert result.text == text.strip().upper().replace(":", "-")


@pytest.mark.parametrize(
    ("code", "pattern", "fits"),
    [
        ("U0415", "U0*", True),
        ("U1415", "U0*", False),
        ("C1A2B", "c1a2?", True),
        ("C1A2B-16", "C1A2B", True),
        ("C1A2B-16", "C1A2B:16", True),
        ("C1A2B-17", "C1A2B-16", False),
        # Read without its failure type it may be the one that forbids: better to ask.
        ("C1A2B", "C1A2B-16", True),
        ("P0420", "*", True),
    ],
)
def test_pattern_fits_codes(code, pattern, fits):
    assert is_blocking(parse(code), [pattern]) is fits


def test_no_rule_blocks_nothing():
    assert not is_blocking(parse("U0415"), [])


@pytest.mark.parametrize("pattern", ["", "U0", "X0*", "U[0-4]*", "P4*", "C1A2B7*", "U0.*", "U0*-"])
def test_mistyped_pattern_is_refused_rather_than_matching_nothing(pattern):
    with pytest.raises(CodeRefused):
        check_pattern(pattern)
    with pytest.raises(CodeRefused):
        is_blocking(parse("U0415"), ["*", pattern][::-1])
