"""VIN arithmetic against published samples and a general-purpose library."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from vininfo import Vin as ReferenceVin

from jobs.intake import vin, vin_form

ALPHABET = "ABCDEFGHJKLMNPRSTUVWXYZ0123456789"


def test_sample_of_the_regulation_sums_to_411_and_asks_for_4():
    """49 CFR 565.15(c)(5), "Calculation of a Check Digit": products add to 411, remainder 4."""
    assert vin_form.weighted_sum("1G4AH59H?5G118341") == 411
    assert vin_form.check_digit("1G4AH59H?5G118341") == "4"
    found = vin.check("1G4AH59H45G118341")
    assert found.check_digit_right


def test_sample_for_new_manufacturers_sums_to_314_and_asks_for_6():
    """NHTSA, "Outline for New Manufacturer Information", p. 18: 1J9RP1A36A1644345, sum 314."""
    assert vin_form.weighted_sum("1J9RP1A36A1644345") == 314
    found = vin.check("1J9RP1A36A1644345")
    assert found.expected_check_digit == "6"
    # 565.15(a): 9 in the third position means positions 12-14 belong to the identifier.
    assert found.maker_id == "1J9644"


@pytest.mark.parametrize(
    ("code", "first", "second"),
    # 49 CFR 565.15(d), Table VII, "Year Codes for VIN" (values from memory).
    [
        ("A", 1980, 2010),
        ("H", 1987, 2017),
        ("J", 1988, 2018),
        ("N", 1992, 2022),
        ("P", 1993, 2023),
        ("R", 1994, 2024),
        ("T", 1996, 2026),
        ("V", 1997, 2027),
        ("Y", 2000, 2030),
        ("1", 2001, 2031),
        ("9", 2009, 2039),
    ],
)
def test_year_codes_of_the_regulation(code, first, second):
    assert vin_form.years_of(code) == (first, second)


@given(st.text(ALPHABET, min_size=14, max_size=14))
def test_check_digit_agrees_with_vininfo(rest):
    """vininfo (PyPI, BSD licence). Z9Z is no maker it knows to leave the check digit out."""
    text = "Z9Z" + rest
    right = text[8] == vin_form.check_digit(text)
    assert ReferenceVin(text).verify_checksum(check_year=False) is right
    repaired = text[:8] + vin_form.check_digit(text) + text[9:]
    assert ReferenceVin(repaired).verify_checksum(check_year=False) is True


@pytest.mark.parametrize("code", vin_form.YEAR_CODES)
def test_model_years_agree_with_vininfo_as_far_as_it_looks_ahead(code):
    years = vin_form.years_of(code)
    looked_up = set(ReferenceVin("Z9ZBC42A0" + code + "7123456").years)
    assert years[0] in looked_up
    assert looked_up <= set(years)
