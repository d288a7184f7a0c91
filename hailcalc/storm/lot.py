"""A storm's lot as a forecast wants it: what the book says of its vehicles on a day.

A vehicle counts from the day on which its claim was drafted, and is done from the day on which it
was repaired. In a book without such a column it is done from the day on which the claim was closed,
which may be days before the work or after. What the book says of later days is not known yet.
Minutes are tenths of a minute sold.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from fractions import Fraction
from typing import TYPE_CHECKING, Literal, NamedTuple

import numpy as np

from hailcalc.problems import InputError, Problem, shown
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


DoneBy = Literal["repaired", "closed"]
"""The column whose day says that a vehicle is done."""


class Known(NamedTuple):
    """What a book says of its vehicles on a day.

    `withdrawn` bring no work, `unpriced` are here and have no price yet. `done_by` is the column
    that was taken, None where the book has neither, and `done_on` its days, of the inspected that
    are done in their order; `closed_undone` are inspected vehicles whose claims are closed and
    whose repair has no day yet.
    """

    inspected: Inspected
    withdrawn: int
    unpriced: int
    done_by: DoneBy | None = None
    closed_undone: int = 0
    done_on: tuple[date, ...] = ()


def known_on(vehicles: pd.DataFrame, day: date) -> Known:
    """Priced vehicles as they stood on a day.

    `vehicles` has a row a vehicle: `claim`, `complete`, `dents`, `repair_minutes` and
    `removal_minutes` in tenths of a minute, and where the book has them `drafted`, `closed`,
    `repaired` (dates, or nothing) and `state`. One without a date of drafting is known from the
    beginning. Raises InputError for what is no date.
    """
    days = {name: _cells(vehicles, name) for name in ("drafted", "closed", "repaired")}
    problems = [
        problem for name, cells in days.items() for problem in _date_problems(name, cells, vehicles)
    ]
    if problems:
        raise InputError(problems)
    today = day.isoformat()
    done_by = _done_by(vehicles)
    here = days["drafted"] <= today
    closed, repaired = (
        days[name].ne("") & (days[name] <= today) for name in ("closed", "repaired")
    )
    done = repaired if done_by == "repaired" else closed
    # A withdrawal of a later day is not known yet; one without a day is.
    withdrawal = _cells(vehicles, "state").eq("withdrawn")
    withdrawn = here & withdrawal & (closed | days["closed"].eq(""))
    counted = here & ~withdrawn
    priced = counted & vehicles["complete"].astype(bool)
    columns = vehicles.loc[priced]
    return Known(
        Inspected(
            repair=columns["repair_minutes"].to_numpy(np.int64),
            removal=columns["removal_minutes"].to_numpy(np.int64),
            done=done[priced].to_numpy(bool),
            dents=columns["dents"].to_numpy(np.int64),
        ),
        withdrawn=int(withdrawn.sum()),
        unpriced=int((counted & ~priced).sum()),
        done_by=done_by,
        closed_undone=int((priced & closed & ~done).sum()),
        done_on=tuple(map(date.fromisoformat, days[done_by or "closed"][priced & done])),
    )


def _done_by(vehicles: pd.DataFrame) -> DoneBy | None:
    """`repaired` where the book has it: an empty cell then is a repair that is not done."""
    if "repaired" in vehicles.columns:
        return "repaired"
    return "closed" if "closed" in vehicles.columns else None


def _cells(vehicles: pd.DataFrame, name: str) -> pd.Series[str]:
    """A column as text, empty where nothing is given."""
    import pandas as pd

    if name not in vehicles.columns:
        return pd.Series("", index=vehicles.index, dtype=str)
    return vehicles[name].astype(object).fillna("").astype(str).str.strip()


def _date_problems(name: str, cells: pd.Series[str], vehicles: pd.DataFrame) -> Iterator[Problem]:
    """The first cell that is no date, and how many there are."""
    wrong = [cell for cell in cells.unique() if cell and not _is_date(cell)]
    if wrong:
        found = cells.isin(wrong)
        claim = shown(str(vehicles.loc[found, "claim"].iloc[0]))
        first = f"{shown(cells[found].iloc[0])} of claim {claim}"
        others = int(found.sum()) - 1
        more = f" and {others:,} more such cells" if others else ""
        yield Problem("book", (name,), first + more, "dates such as 2026-05-19")


def _is_date(text: str) -> bool:
    try:
        return date.fromisoformat(text).isoformat() == text
    except ValueError:
        return False
