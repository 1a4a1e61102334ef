"""VINs as typed and scanned. Worked samples of the regulation: tests/reference/test_vin.py."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.intake import vin, vin_form
from jobs.intake.vin import VinRefused

# Invented identifiers: T99 and 5ZT belong to no maker we know of.
NORTH_AMERICAN = "5ZTBC42A4K7123456"
EUROPEAN = "WZTBC42A0K7123456"


def with_right_check_digit(text: str) -> str:
    return text[:8] + vin_form.check_digit(text) + text[9:]


GOOD = with_right_check_digit(NORTH_AMERICAN)


def refusal(text: str) -> VinRefused:
    with pytest.raises(VinRefused) as caught:
        vin.check(text)
    return caught.value


@pytest.mark.parametrize(
    ("typed", "note"),
    [
        (f"  {GOOD}\n", None),
        (f"*{GOOD}*", "asterisks"),
        (f"* {GOOD} *", "asterisks"),
        (f"{GOOD[:3]} {GOOD[3:9]}-{GOOD[9:]}", "spaces and hyphens"),
        (f"I{GOOD}", "import mark"),
        (f"*I{GOOD}*", "import mark"),
        (GOOD.lower(), None),
    ],
)
def test_what_bar_code_readers_and_people_add_is_left_off_with_a_note(typed, note):
    found = vin.check(typed)
    assert found.text == GOOD
    assert note is None or any(note in told for told in found.notes)


def test_sections_are_kept_as_text_and_joined_give_the_vin():
    found = vin.check(GOOD)
    assert found.wmi + found.vds + found.vis == GOOD
    assert (found.plant, found.serial) == ("7", "123456")
    assert "".join(position.char for position in found.positions) == GOOD
    assert [position.number for position in found.positions] == list(range(1, 18))


def test_maker_of_few_vehicles_has_six_characters_of_identifier_and_three_of_serial():
    found = vin.check(with_right_check_digit("5Z9BC42A_K7AB1234".replace("_", "0")))
    assert found.low_volume_maker
    assert (found.maker_id, found.serial) == ("5Z9AB1", "234")
    assert "assigned to the maker" in found.positions[12].means


@pytest.mark.parametrize(("length", "words"), [(16, "1 too few"), (18, "1 too many")])
def test_wrong_length_tells_how_many_characters_are_off(length, words):
    refused = refusal((GOOD + "77")[:length])
    assert (refused.code, refused.position) == ("length", None)
    assert words in refused.says


def test_huge_text_is_refused_without_repeating_it():
    assert len(refusal("A" * 100_000).says) < 200


@pytest.mark.parametrize("text", ["", "   ", "**", "* *"])
def test_nothing_is_refused_as_nothing(text):
    assert refusal(text).code == "empty"


@pytest.mark.parametrize("slip", ["O", "Q", "o"])
def test_letter_for_zero_is_offered_in_words_and_never_changed(slip):
    text = with_right_check_digit("5ZTBC42A0K7103456")
    refused = refusal(text[:12] + slip + text[13:])
    assert (refused.code, refused.position) == ("character", 13)
    assert "0 in position 13" in refused.right
    assert refused.candidates == (text,)


def test_slip_is_offered_without_a_candidate_when_the_check_digit_stays_wrong():
    text = with_right_check_digit("5ZTBC42A0K7103456")
    refused = refusal(text[:12] + "O" + text[13:16] + "7")
    assert "0 in position 13" in refused.right
    assert refused.candidates == ()


@pytest.mark.parametrize("char", ["é", "\u0410", "\uff11", "ß", "_", "\u0131"])
def test_character_outside_the_alphabet_is_named_with_its_place(char):
    refused = refusal(GOOD[:15] + char + GOOD[16:])
    assert (refused.code, refused.position) == ("character", 16)


def test_two_neighbours_swapped_are_offered_as_a_candidate():
    swapped = GOOD[:3] + GOOD[4] + GOOD[3] + GOOD[5:]
    refused = refusal(swapped)
    assert (refused.code, refused.position) == ("check_digit", 9)
    assert GOOD in refused.candidates
    assert "positions 4 and 5 the other way round" in refused.right


def test_wrong_check_digit_confirmed_from_the_plate_becomes_a_warning():
    wrong = GOOD[:16] + "7"
    found = vin.check(wrong, confirmed=True)
    assert (found.text, found.check_digit_right) == (wrong, False)
    assert any("confirmed from the plate" in told for told in found.warnings)


def test_wrong_check_digit_of_another_region_is_a_warning_that_says_so():
    text = EUROPEAN if vin_form.check_digit(EUROPEAN) != "0" else EUROPEAN[:8] + "Z" + EUROPEAN[9:]
    found = vin.check(text)
    assert not found.check_digit_right
    assert any("need not follow it" in told for told in found.warnings)
    assert (found.model_year, found.model_years) == (None, (1989, 2019))


@pytest.mark.parametrize(("position_7", "year"), [("2", 1989), ("A", 2019)])
def test_position_7_resolves_the_cycle_of_the_model_year(position_7, year):
    found = vin.check(with_right_check_digit("5ZTBC4" + position_7 + "A0K7123456"))
    assert found.model_years == (1989, 2019)
    assert found.model_year == year


def test_position_7_says_nothing_for_heavy_vehicles():
    assert vin.check(GOOD, light=False).model_year is None


@pytest.mark.parametrize("code", ["U", "Z", "0"])
def test_code_that_stands_for_no_model_year_is_refused_at_position_10(code):
    refused = refusal(with_right_check_digit("5ZTBC42A0" + code + "7123456"))
    assert (refused.code, refused.position) == ("model_year", 10)


def test_seventh_region_is_shared_between_oceania_and_north_america():
    assert vin.region_of("7A") == "Oceania"
    assert vin.region_of("7F") == vin.region_of("70") == "North America"


def test_letter_in_the_last_five_of_a_light_vehicle_is_a_warning():
    found = vin.check(with_right_check_digit("5ZTBC42A0K71B3456"))
    assert any("position 13 should be a digit" in told for told in found.warnings)


def test_filler_with_a_right_check_digit_is_warned_about():
    assert any("filler" in told for told in vin.check("1" * 17).warnings)


@given(
    st.text(vin_form.LETTERS + vin_form.DIGITS, min_size=17, max_size=17),
    st.integers(0, 16),
    st.sampled_from(vin_form.LETTERS + vin_form.DIGITS),
)
def test_one_wrong_character_of_another_value_never_passes_the_check_digit(text, at, char):
    """Weights are prime to 11 and values differ by less than 11, so one change always shows."""
    good = with_right_check_digit(text)
    bad = good[:at] + char + good[at + 1 :]
    same = at != 8 and vin_form.VALUES[char] == vin_form.VALUES[good[at]]
    if bad != good and not same:
        assert bad[8] != vin_form.check_digit(bad)


def vin_or_refusal(text):
    try:
        return vin.check(text)
    except VinRefused as refused:
        return refused


@given(st.text(max_size=60) | st.text("ABCIOQU019 -*é", min_size=15, max_size=20))
def test_any_text_gives_a_vin_or_a_refusal_in_words(text):
    result = vin_or_refusal(text)
    if isinstance(result, VinRefused):
        assert result.says
        assert result.right
    else:
        assert len(result.text) == 17
