"""A storm's lot as a forecast wants it: what the book says of its vehicles on a day.

A vehicle counts from the day on which its claim was drafted, and is done from the day on which it
was closed. What the book says of later days is not known yet. Minutes are tenths of a minute sold.
"""

from __future__ import annotations

from datetime import date
from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from hailcalc.storm.forecast import Inspected

if TYPE_CHECKING:
    import pandas as pd


class Lot(NamedTuple):
    """A storm as a forecast needs it: `vehicles` as `known_on` takes them, `aside` without a price.

    `technicians` are those of the days so far.
    """

    title: str
    first_day: date
    hours_a_day: Fraction
    technicians: int
    vehicles: pd.DataFrame
    aside: int = 0


class Known(NamedTuple):
    """What a book says of its vehicles on a day.

    `withdrawn` bring no work, `unpriced` are here and have no price yet.
    """

    inspected: Inspected
    withdrawn: int
    unpriced: int


def known_on(vehicles: pd.DataFrame, day: date) -> Known:
    """Priced vehicles as they stood on a day.

    `vehicles` has a row a vehicle: `drafted`, `closed` (dates as text, or nothing), `state`,
    `complete`, `dents`, and `repair_minutes` and `removal_minutes` in tenths of a minute. One
    without a date of drafting is known from the beginning.
    """
    drafted, closed, state = (
        vehicles[name].fillna("").astype(str).str.strip() for name in ("drafted", "closed", "state")
    )
    today = day.isoformat()
    here = drafted <= today
    ended = closed.ne("") & (closed <= today)
    # A withdrawal of a later day is not known yet; one without a day is.
    withdrawn = here & state.eq("withdrawn") & (ended | closed.eq(""))
    counted = here & ~withdrawn
    priced = counted & vehicles["complete"].astype(bool)
    columns = vehicles.loc[priced]
    return Known(
        Inspected(
            repair=columns["repair_minutes"].to_numpy(np.int64),
            removal=columns["removal_minutes"].to_numpy(np.int64),
            done=ended[priced].to_numpy(bool),
            dents=columns["dents"].to_numpy(np.int64),
        ),
        withdrawn=int(withdrawn.sum()),
        unpriced=int((counted & ~priced).sum()),
    )
