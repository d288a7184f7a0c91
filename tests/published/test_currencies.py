"""Decimals of currencies against ISO 4217.

The named ones are ISO 4217's, copied here; the rest is read out of the standard's own published
table (`table.xml`, which travels with the `iso4217` package) a second time, by this module.
"""

from __future__ import annotations

import string
from importlib.resources import files
from xml.etree import ElementTree

import pytest

from hailcalc.money import currency_decimals, decimals_of, minor_units, money_text

# ISO 4217, table A.1: minor units.
NAMED = {"JPY": 0, "USD": 2, "EUR": 2, "KWD": 3}


def published() -> dict[str, str]:
    """Code and minor units as the standard's table writes them."""
    tree = ElementTree.fromstring(files("iso4217").joinpath("table.xml").read_bytes())
    return {
        entry.findtext("Ccy", "").strip(): entry.findtext("CcyMnrUnts", "").strip()
        for entry in tree.iter("CcyNtry")
        if entry.find("Ccy") is not None
    }


TABLE = published()


@pytest.mark.parametrize(("code", "decimals"), NAMED.items())
def test_the_currencies_named_in_the_standard(code: str, decimals: int) -> None:
    assert currency_decimals(code) == decimals
    assert TABLE[code] == str(decimals)


@pytest.mark.parametrize("code", TABLE)
def test_every_code_of_the_published_table(code: str) -> None:
    units = TABLE[code]
    assert currency_decimals(code) == (int(units) if units.isdigit() else None)


def test_the_published_table_was_really_read() -> None:
    assert len(TABLE) > 150
    assert {"0", "2", "3", "4", "N.A."} == set(TABLE.values())


@pytest.mark.parametrize("code", ["", "US", "usd", "Eur", "USDX", "840", "US$", "€€€", "ABC"])
def test_what_is_no_code_is_no_currency(code: str) -> None:
    assert currency_decimals(code) is None


def test_no_three_letters_beyond_the_table_are_a_currency() -> None:
    for first in string.ascii_uppercase:
        for second in "AESZ":
            code = first + second + "Q"
            if code not in TABLE:
                assert currency_decimals(code) is None


@pytest.mark.parametrize(
    ("code", "text", "amount"),
    [
        ("JPY", "1250", 1250),
        ("USD", "1250.05", 125005),
        ("KWD", "1.005", 1005),
        ("USD", "3.5", 350),
    ],
)
def test_a_written_sum_in_minor_units_and_back(code: str, text: str, amount: int) -> None:
    decimals = NAMED[code]
    assert minor_units(text, decimals) == amount
    back = money_text(amount, decimals)
    assert minor_units(back, decimals) == amount
    assert decimals_of(back) == decimals
