"""Sums, figures and dates as the matrix's locale writes them.

What is comparable is compared with Babel's own functions, whose data is CLDR's; that the number
of decimals is the currency's own comes from ISO 4217.
"""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest
from babel.core import Locale
from babel.dates import format_date
from babel.localedata import locale_identifiers
from babel.numbers import format_currency, format_decimal
from hypothesis import given, settings
from hypothesis import strategies as st

from hailcalc.sheet.fonts import unprintable
from hailcalc.sheet.locale import writer
from hailcalc.sheet.pdf import sheet_pdf
from tests.builders import claim, estimate, matrix, page_texts, panel

PRINTED_ALIKE = str.maketrans({"\u202f": "\u00a0", "\u2009": "\u00a0", "\uffe5": "¥"})
"""A narrow blank and a wide yen sign, which the fonts lack, and what stands for them."""

HARVEST = date(2026, 8, 11)


@pytest.mark.parametrize(
    ("locale", "currency", "decimals", "amount", "total"),
    [
        ("en_US", "USD", 2, "1,234,567.89", "$1,234,567.89"),
        ("de_DE", "EUR", 2, "1.234.567,89", "1.234.567,89\u00a0€"),
        ("ja_JP", "JPY", 0, "123,456,789", "¥123,456,789"),
        ("fr_FR", "EUR", 2, "1\u00a0234\u00a0567,89", "1\u00a0234\u00a0567,89\u00a0€"),
        ("de_CH", "CHF", 2, "1’234’567.89", "CHF\u00a01’234’567.89"),
        ("sv_SE", "SEK", 2, "1\u00a0234\u00a0567,89", "1\u00a0234\u00a0567,89\u00a0kr"),
        ("en_US", "KWD", 3, "123,456.789", "KWD\u00a0123,456.789"),
        ("en_GB", "GBP", 2, "1,234,567.89", "£1,234,567.89"),
        ("hi_IN", "INR", 2, "12,34,567.89", "₹12,34,567.89"),
    ],
)
def test_sums_are_grouped_pointed_and_named_as_people_there_write_them(
    locale: str, currency: str, decimals: int, amount: str, total: str
) -> None:
    write = writer(locale, currency, decimals)
    assert write.amount(123456789) == amount
    assert write.sum(123456789).replace("KWD1", "KWD\u00a01") == total


@pytest.mark.parametrize(
    ("locale", "currency", "decimals"),
    [
        ("en_US", "USD", 2),
        ("de_DE", "EUR", 2),
        ("ja_JP", "JPY", 0),
        ("fr_FR", "EUR", 2),
        ("de_CH", "CHF", 2),
        ("sv_SE", "SEK", 2),
        ("pl_PL", "PLN", 2),
        ("en_US", "KWD", 3),
    ],
)
@settings(max_examples=60, deadline=None)
@given(amount=st.integers(-(10**15), 10**15))
def test_sums_are_babels_own_with_all_of_the_currencys_decimals(
    locale: str, currency: str, decimals: int, amount: int
) -> None:
    write = writer(locale, currency, decimals)
    value = Decimal(amount).scaleb(-decimals)
    assert write.sum(amount) == format_currency(value, currency, locale=locale).translate(
        PRINTED_ALIKE
    )
    rounded = format_decimal(value, locale=locale).translate(PRINTED_ALIKE)
    written = write.amount(amount)
    assert written.startswith(rounded)
    assert set(written[len(rounded) :]) <= set("0" + write.point)


@given(
    amount=st.integers(-(10**15), 10**15),
    locale=st.sampled_from(["en_US", "de_DE", "fr_FR", "de_CH", "sv_SE", "ja_JP", "ar_EG"]),
    decimals=st.sampled_from([0, 2, 3]),
)
@settings(deadline=None)
def test_a_printed_amount_read_back_digit_by_digit_is_the_amount(
    amount: int, locale: str, decimals: int
) -> None:
    write = writer(locale, "USD", decimals)
    text = write.amount(amount)
    digits = "".join(char for char in text if char in "0123456789")
    assert int(digits) == abs(amount)
    assert (text[0] in "-−") == (amount < 0) or locale == "ar_EG"
    if decimals:
        assert text[-decimals - 1] == write.point


@pytest.mark.parametrize("decimals", [0, 1, 2, 3, 4])
def test_nothing_at_all_is_written_with_all_decimals(decimals: int) -> None:
    assert writer("en_US", "USD", decimals).amount(0) == f"{0:.{decimals}f}"
    assert writer("en_US", "USD", decimals).amount(5) == f"{5 / 10**decimals:.{decimals}f}"


def test_a_locale_whose_letters_the_fonts_lack_falls_back_to_code_and_iso_date() -> None:
    write = writer("ar_EG", "EGP", 2)
    assert write.sum(123456).startswith("EGP")
    assert not unprintable(write.sum(123456))
    assert write.date(HARVEST) == "2026-08-11"


@pytest.mark.parametrize("locale", ["en_US", "de_DE", "fr_FR", "sv_SE", "de_CH", "pl_PL", "es_ES"])
def test_dates_are_babels_own(locale: str) -> None:
    write = writer(locale, "EUR", 2)
    for month in range(1, 13):
        day = date(2026, month, 19)
        assert write.date(day) == format_date(day, "medium", locale).translate(PRINTED_ALIKE)


def test_a_japanese_date_is_digits_and_strokes() -> None:
    assert writer("ja_JP", "JPY", 0).date(HARVEST) == "2026/08/11"


@pytest.mark.parametrize("locale", sorted(locale_identifiers())[::9])
def test_every_locale_that_a_matrix_may_name_can_be_printed(locale: str) -> None:
    write = writer(locale, "USD", 2)
    for amount in (0, 5, -5, 123456789, -123456789):
        for text in (write.amount(amount), write.sum(amount)):
            assert not unprintable(text.replace("\u200f", "").replace("\u200e", "")), text
            assert "".join(filter(str.isdigit, text)).lstrip("0") == str(abs(amount)).lstrip("0")
    assert not unprintable(write.date(HARVEST))
    assert Locale.parse(locale)


@pytest.mark.parametrize(
    ("locale", "expected"),
    [("en_US", "3.39 mm beyond 1-euro (30.61 mm)"), ("de_DE", "3,39 mm beyond 1-euro (30,61 mm)")],
)
def test_figures_in_words_get_the_locales_point(locale: str, expected: str) -> None:
    write = writer(locale, "EUR", 2)
    assert write.words("3.39 mm beyond 1-euro (30.61 mm)") == expected


def test_a_full_stop_stays_a_full_stop_and_whole_numbers_stay_as_they_are() -> None:
    write = writer("de_DE", "EUR", 2)
    text = "12 dents, band 7–11. Sum of 3. Version a1.2b"
    assert write.words(text) == text


def test_a_formula_is_written_with_the_signs_that_people_write() -> None:
    written = writer("en_US", "USD", 2).formula("(259 - 1.5) * 96.00 / 60")
    assert written.replace("\u00a0", " ") == "(259 − 1.5) × 96.00 ÷ 60"
    assert "\u00a0×\u00a096.00\u00a0÷\u00a060" in written, "a product may not break over lines"
    assert writer("fr_FR", "EUR", 2).formula("2 * 96.00") == "2\u00a0×\u00a096,00"


@pytest.mark.parametrize("locale", ["en_US", "de_DE", "ja_JP", "fr_FR", "de_CH", "sv_SE", "ar_EG"])
def test_a_sheet_can_be_printed_in_the_locale(locale: str) -> None:
    for currency, price, decimals in (("USD", "1234.50", 2), ("KWD", "1234.500", 3)):
        data = claim(
            panel(agreed=price),
            claim={"dated": "2026-05-30", "deductible": "10.00"},
            vehicle={"value": price},
            conditions={"panel_temperature_c": 21.5},
        )
        text = " ".join(
            page_texts(
                sheet_pdf(estimate(data, matrix(matrix={"currency": currency, "locale": locale})))
            )
        )
        write = writer(locale, currency, decimals)
        for written in (write.amount(1234 * 10**decimals + 5 * 10 ** (decimals - 1)),):
            assert "".join(written.split()) in "".join(text.split())
        assert f"21{write.point}5 °C" in text
