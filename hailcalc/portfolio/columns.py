"""The columns of a book, and of what pricing makes of it.

A book is a table with one row a panel, a claim's rows together. Columns of the vehicle stand on
each of its rows, the same; a vehicle without panels has one row with `panel` empty. Beside those
here it has a column for each coin of its matrix's set. Money is text such as 84.50, a whole
number, or an Arrow decimal: never a float.
"""

from __future__ import annotations

from hailcalc.portfolio.rows import MARKS

VEHICLE_PRICED = (
    "body", "equipment", "aim", "matrix", "insurer", "date_of_loss", "deductible",
    "other_part", "other_sublet", "other_refinish", "other_body",
)  # fmt: skip
"""What pricing looks at of the vehicle; `insurer` and `date_of_loss` only to choose a matrix."""

FACTS = (
    "storm", "technician", "drafted", "issued", "answered", "closed", "repaired",
    "state", "supplement_asked", "supplement_paid", "discount", "loan_days",
)  # fmt: skip
"""What pricing only carries along: the course of the claim, for the storm's figures."""

CARRIED = ("body", "insurer", "date_of_loss", *FACTS)
"""Columns of the book that stand again beside each priced vehicle."""

PANEL_COLUMNS = (
    "panel", "metal", "repainted", "access", *MARKS, "oversize", "no_price", "agreed",
    "replace_cost",
)  # fmt: skip
COLUMNS = ("claim", *VEHICLE_PRICED, *FACTS, *PANEL_COLUMNS)
"""All but the coins, in the order in which a book is written."""

SUMS = (
    "repair", "oversize", "extra", "removal", "fastener", "part", "sublet", "refinish", "body_work",
    "minimum", "subtotal", "tax", "total", "deductible", "net",
)  # fmt: skip
"""Money of a priced vehicle; `body_work` are its lines of kind body."""


def coin_column(coin: str) -> str:
    """The column of a coin: its name, or `coin:` and its name where a book has such a column."""
    return f"coin:{coin}" if coin in COLUMNS else coin
