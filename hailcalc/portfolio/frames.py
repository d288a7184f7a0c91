"""Priced tables as pandas frames of whole numbers, for figures that are added up and resampled.

Money is minor units, minutes are tenths of a minute, both int64; nothing for an empty sum stays
nothing. No float stands for an amount anywhere.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pyarrow as pa
import pyarrow.compute as pc

from hailcalc.portfolio.book import whole_numbers
from hailcalc.portfolio.columns import SUMS

if TYPE_CHECKING:
    import pandas as pd

_GIVEN = ("supplement_asked", "supplement_paid", "discount")
_PANEL_SUMS = ("repair", "oversize", "extra", "body_work", "amount")


def in_minor_units(table: pa.Table, decimals: int) -> pd.DataFrame:
    """A table of vehicles or panels of one currency, which has so many decimals.

    Facts that are sums (`supplement_asked`, ...) and `loan_days` are whole numbers too, 0 where
    nothing was given. Other columns stay text.
    """
    columns: dict[str, Any] = {}
    for name in table.column_names:
        column = table.column(name)
        if name in _GIVEN:
            exact = pc.fill_null(column.cast(pa.string()), "0").cast(pa.decimal128(18, decimals))
            columns[name] = whole_numbers(exact)
        elif name == "loan_days":
            columns[name] = pc.fill_null(column, "0").cast(pa.int64()).to_numpy()
        elif pa.types.is_decimal(column.type):
            wanted = decimals if name in {*SUMS, *_PANEL_SUMS} else column.type.scale
            columns[name] = whole_numbers(column.cast(pa.decimal128(18, wanted)))
        else:
            columns[name] = column.to_pandas()
    import pandas as pd

    return pd.DataFrame(columns)
