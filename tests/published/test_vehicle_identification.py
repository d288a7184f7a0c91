"""Vehicle identification numbers against 49 CFR 565.15 (ISO 3779).

The check digit is worked out here a second time, as the plain weighted sum that the rule
prescribes, and held against the product and the library behind it over random numbers.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from vininfo import Vin

from hailcalc.vehicle import vin_findings

# 49 CFR 565.15(c)(4), tables III and IV: values of the letters, weights of the positions.
VALUES = {str(digit): digit for digit in range(10)} | {
    **dict(zip("ABCDEFGH", range(1, 9), strict=True)),
    **dict(zip("JKLMN", range(1, 6), strict=True)),
    "P": 7,
    "R": 9,
    **dict(zip("STUVWXYZ", range(2, 10), strict=True)),
}
WEIGHTS = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)

# Worked samples published with the rule: number, weighted sum, check digit.
SAMPLES = [("1G4AH59H45G118341", 411, "4"), ("1J9RP1A36A1644345", 314, "6")]

characters = st.sampled_from("".join(VALUES))
numbers = st.text(characters, min_size=17, max_size=17)


def weighted_sum(vin: str) -> int:
    return sum(VALUES[char] * weight for char, weight in zip(vin, WEIGHTS, strict=True))


def check_digit(vin: str) -> str:
    remainder = weighted_sum(vin) % 11
    return "X" if remainder == 10 else str(remainder)


def with_check_digit(vin: str) -> str:
    return vin[:8] + check_digit(vin) + vin[9:]


@pytest.mark.parametrize(("vin", "total", "digit"), SAMPLES)
def test_the_published_samples_have_their_sums_and_are_accepted(
    vin: str, total: int, digit: str
) -> None:
    assert weighted_sum(vin) == total
    assert check_digit(vin) == digit == vin[8]
    assert vin_findings(vin) == (None, None)


@pytest.mark.parametrize("vin", [vin for vin, _, _ in SAMPLES])
@pytest.mark.parametrize("digit", "0123456789X")
def test_every_other_check_digit_on_a_north_american_number_is_an_error(
    vin: str, digit: str
) -> None:
    error, warning = vin_findings(vin[:8] + digit + vin[9:])
    assert (error is None) == (digit == vin[8])
    assert warning is None
    if error is not None:
        assert "check digit" in error
        assert "49 CFR 565.15" in error


def test_a_remainder_of_ten_is_written_x() -> None:
    # 1G4AH59H_5G11834_ : the sample's sum less its last 2 × 1 is 409; 409 + 2 × 4 = 417, and
    # 417 = 37 × 11 + 10.
    vin = "1G4AH59HX5G118344"
    assert weighted_sum(vin) == 417
    assert vin_findings(vin) == (None, None)


@pytest.mark.parametrize("letter", "IOQ")
@pytest.mark.parametrize("position", [0, 8, 16])
def test_i_o_and_q_never_occur(letter: str, position: int) -> None:
    sample = SAMPLES[0][0]
    error, _ = vin_findings(sample[:position] + letter + sample[position + 1 :])
    assert error is not None
    assert "I, O or Q" in error


@pytest.mark.parametrize("vin", ["", "1G4AH59H45G11834", "1G4AH59H45G1183411"])
def test_a_number_has_seventeen_characters(vin: str) -> None:
    error, _ = vin_findings(vin)
    assert error is not None
    assert "17" in error


@pytest.mark.parametrize("vin", ["1g4ah59h45g118341", " 1G4AH59H45G118341", "1G4AH59H45G118341\n"])
def test_small_letters_and_blanks_are_an_error(vin: str) -> None:
    assert vin_findings(vin)[0] is not None


def test_elsewhere_a_wrong_check_digit_is_only_a_warning() -> None:
    # A made-up number from outside North America (first character W): 6 × 8 + 1 × 9 = 57.
    right = with_check_digit("W00000000A0000000")
    wrong = right[:8] + ("1" if right[8] != "1" else "2") + right[9:]
    assert vin_findings(right) == (None, None)
    error, warning = vin_findings(wrong)
    assert error is None
    assert warning is not None
    assert wrong in warning
    assert "outside North America" in warning


@given(numbers, st.booleans())
def test_the_product_and_the_library_agree_with_the_plain_sum(vin: str, right: bool) -> None:
    vin = with_check_digit(vin) if right else vin
    holds = vin[8] == check_digit(vin)
    assert Vin(vin).verify_checksum(check_year=False) == holds
    error, warning = vin_findings(vin)
    if holds:
        assert (error, warning) == (None, None)
    elif vin[0] in "12345":
        assert error is not None
        assert warning is None
    else:
        assert error is None
        assert warning is not None


@given(st.text(max_size=20) | st.text(characters | st.characters(), min_size=17, max_size=17))
def test_no_text_whatever_breaks_the_check(text: str) -> None:
    error, warning = vin_findings(text)
    assert error is None or warning is None
    if len(text) != 17 or set(text) - set(VALUES):
        assert error is not None
