"""Sums, figures and dates as the matrix's locale writes them (Babel, CLDR).

Amounts come as minor units and are never floats. A locale's separator that the sheet's
fonts lack (a narrow no-break space, a full-width yen sign) is replaced by the nearest
character that they have.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from hailcalc.money import money_text
from hailcalc.sheet.fonts import unprintable

_NUMBER = re.compile(r"(?<![\w.])\d+(?:\.\d+)?(?![\w.]*\w)")
_OPERATORS = [
    (" * ", "\u00a0×\u00a0"),
    (" / ", "\u00a0÷\u00a0"),
    (" - ", "\u00a0−\u00a0"),
    ("-", "−"),
]
"""Signs of a formula in print; a line breaks at a plus only."""

_SUBSTITUTES = str.maketrans({"\u202f": "\u00a0", "\u2009": "\u00a0", "\uffe5": "¥"})


@dataclass(frozen=True, slots=True)
class Writer:
    """Writes figures for one matrix: its locale, currency and decimals."""

    locale: str
    currency: str
    decimals: int
    point: str
    plain_pattern: str
    sum_pattern: str

    def amount(self, amount: int) -> str:
        """An amount without its currency, with grouping: 1,234.50."""
        from babel.numbers import format_decimal

        value = Decimal(money_text(amount, self.decimals))
        return self.printable(format_decimal(value, self.plain_pattern, self.locale))

    def sum(self, amount: int) -> str:
        """An amount with its currency: $1,234.50."""
        from babel.numbers import format_currency

        value = Decimal(money_text(amount, self.decimals))
        text = self.printable(
            format_currency(
                value, self.currency, self.sum_pattern, self.locale, currency_digits=False
            )
        )
        return text if not unprintable(text) else f"{self.currency} {self.amount(amount)}"

    def figure(self, text: str) -> str:
        """A plain decimal string with the locale's decimal point and no grouping."""
        return text.replace(".", self.point)

    def words(self, text: str) -> str:
        """A sentence whose decimal figures get the locale's decimal point."""
        return text if self.point == "." else _NUMBER.sub(lambda m: self.figure(m[0]), text)

    def formula(self, text: str) -> str:
        """A line's arithmetic as people write it, with the locale's decimal point."""
        for sign, printed in _OPERATORS:
            text = text.replace(sign, printed)
        return self.figure(text)

    def date(self, day: date) -> str:
        """A date in the locale's medium form, or ISO 8601 where the fonts lack its letters."""
        from babel.dates import format_date

        text = self.printable(format_date(day, "medium", self.locale))
        return text if not unprintable(text) else day.isoformat()

    @staticmethod
    def printable(text: str) -> str:
        """`text` with the nearest characters that the sheet's fonts have."""
        return text.translate(_SUBSTITUTES)


def writer(locale: str, currency: str, decimals: int) -> Writer:
    """A writer for a locale; the number of decimals is ISO 4217's, not the locale's habit."""
    from babel import Locale

    parsed = Locale.parse(locale)
    if unprintable(_sample(locale)):
        # Separators that the fonts lack: figures as in English, which every font has.
        locale, parsed = "en", Locale.parse("en")
    return Writer(
        locale=locale,
        currency=currency,
        decimals=decimals,
        point=parsed.number_symbols["latn"]["decimal"],
        plain_pattern=_with_decimals(parsed.decimal_formats[None].pattern, decimals),
        sum_pattern=_with_decimals(parsed.currency_formats["standard"].pattern, decimals),
    )


def _sample(locale: str) -> str:
    """A figure with every separator and sign that a locale uses."""
    from babel.numbers import format_decimal

    return format_decimal(Decimal("-1234567.89"), locale=locale).translate(_SUBSTITUTES)


def _with_decimals(pattern: str, decimals: int) -> str:
    """A CLDR number pattern with exactly so many decimals."""
    fraction = "." + "0" * decimals if decimals else ""
    return re.sub(r"0(\.[0#]+)?(?![0#,.])", "0" + fraction, pattern)
