"""Money and other exact figures.

An amount is an `int` of the currency's minor units (cents; whole yen); a rate, a
percentage, minutes or millimetres on the way to an amount is a `Fraction` or a
scaled integer. No float is ever involved. There is one rounding rule, half away
from zero (`round_half_away`), applied once, where a line is printed.

How many decimals a currency has comes from ISO 4217, through the `iso4217`
package, which carries the standard's own published table.
"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from functools import cache
from typing import TYPE_CHECKING, Any, overload

if TYPE_CHECKING:
    from numpy import ndarray

    Whole = ndarray[Any, Any]


@overload
def round_half_away(numerator: int, denominator: int = 1) -> int: ...


@overload
def round_half_away(numerator: Whole, denominator: int | Whole = 1) -> Whole: ...


def round_half_away(numerator: Any, denominator: Any = 1) -> Any:
    """`numerator / denominator` to the nearest whole number, halves away from zero.

    `denominator` must be positive. round_half_away(5, 2) is 3, round_half_away(-5, 2) is -3.
    Arrays of whole numbers are rounded element by element, by the same steps.
    """
    magnitude = (2 * abs(numerator) + denominator) // (2 * denominator)
    return magnitude - 2 * magnitude * (numerator < 0)


def rounded(value: Fraction) -> int:
    """`round_half_away` of a Fraction."""
    return round_half_away(value.numerator, value.denominator)


@cache
def currency_decimals(currency: str) -> int | None:
    """Decimals of an ISO 4217 code (USD 2, JPY 0, KWD 3); None if there is no such currency.

    Codes without a minor unit of their own (gold, testing) count as no currency.
    """
    import iso4217  # parses the standard's table, so only when a matrix is read

    try:
        exponent = iso4217.Currency(currency).exponent
    except ValueError:
        return None
    return None if exponent is None else int(exponent)


def minor_units(text: str, decimals: int) -> int:
    """A decimal string in minor units: minor_units("84.50", 2) is 8450.

    Raises ValueError when `text` has more decimals than the currency.
    """
    value: Fraction = Fraction(text) * 10**decimals
    if value.denominator != 1:
        raise ValueError(f"{text} has more than {decimals} decimals")
    return value.numerator


def decimals_of(text: str) -> int:
    """How many decimals a decimal string is written with: decimals_of("84.50") is 2."""
    return len(text.partition(".")[2])


def money_text(amount: int, decimals: int) -> str:
    """Minor units as a decimal string, as in JSON: money_text(-5, 2) is "-0.05"."""
    if decimals == 0:
        return str(amount)
    digits = str(abs(amount)).rjust(decimals + 1, "0")
    return f"{'-' if amount < 0 else ''}{digits[:-decimals]}.{digits[-decimals:]}"


def plain(value: Decimal) -> str:
    """A decimal without trailing zeros or exponent, for print: 41, 38.5."""
    text = f"{value:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
