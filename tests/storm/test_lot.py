"""When a vehicle counts as done: by the day of its repair, else by that of its claim's close."""

from __future__ import annotations

from datetime import date
from fractions import Fraction

import pandas as pd
import pyarrow as pa
import pytest

from hailcalc.files import load_matrix
from hailcalc.portfolio import price_book
from hailcalc.problems import InputError
from hailcalc.storm.course import course_problems
from hailcalc.storm.forecastcommand import Asked, forecast_of
from hailcalc.storm.forecastreport import Forecast, forecast_json, forecast_text
from hailcalc.storm.lot import Lot, known_on
from tests.builders import MATRICES

TODAY = date(2026, 5, 20)
Row = tuple[str, str | date | None, str]


def book(*rows: Row) -> pd.DataFrame:
    """Priced vehicles: closed, repaired, state; 60 minutes of repair, 5 of removal."""
    frame = pd.DataFrame(rows, columns=["closed", "repaired", "state"], dtype=object)
    frame["claim"] = [f"SM-{number}" for number in range(1, len(rows) + 1)]
    return frame.assign(
        drafted="2026-05-18", complete=True, dents=40, repair_minutes=600, removal_minutes=50
    )


COURSES = book(
    ("2026-05-19", "2026-05-20", "agreed"),  # repaired on the day
    ("2026-05-19", "2026-05-21", "agreed"),  # agreed on, and not repaired yet
    ("2026-05-19", "", "agreed"),  # the same, without a day of repair
    ("", "2026-05-19", "issued"),  # repaired, and not answered yet
    ("2026-05-22", "2026-05-19", "agreed"),
    ("2026-05-19", "2026-05-19", "withdrawn"),
)


def forecast(vehicles: pd.DataFrame) -> Forecast:
    lot = Lot("Saltmarsh", date(2026, 5, 15), Fraction(8), 2, vehicles)
    asked = Asked(date(2026, 6, 6), TODAY, Fraction(9, 10), Fraction(1), Fraction(0))
    return forecast_of(lot, 20, asked)


def without(*columns: str) -> pd.DataFrame:
    return COURSES.drop(columns=list(columns))


def test_a_vehicle_is_done_when_it_is_repaired_whatever_its_claim_waits_for() -> None:
    known = known_on(COURSES, TODAY)
    assert known.inspected.done.tolist() == [True, False, False, True, True]
    assert (known.withdrawn, known.done_by, known.closed_undone) == (1, "repaired", 2)


def test_without_a_column_of_repairs_a_vehicle_is_done_when_its_claim_is_closed() -> None:
    known = known_on(without("repaired"), TODAY)
    assert known.inspected.done.tolist() == [True, True, True, False, False]
    assert (known.done_by, known.closed_undone) == ("closed", 0)


def test_without_either_column_nothing_is_done() -> None:
    known = known_on(without("repaired", "closed"), TODAY)
    assert not known.inspected.done.any()
    assert known.done_by is None


def test_a_day_of_repair_may_be_a_date_and_must_be_one() -> None:
    days = COURSES.assign(repaired=pd.Series([date(2026, 5, 20), *[None] * 5], dtype=object))
    assert known_on(days, TODAY).inspected.done.tolist() == [True, *[False] * 4]
    with pytest.raises(InputError) as caught:
        known_on(COURSES.assign(repaired="20/5/2026"), TODAY)
    assert str(caught.value) == (
        'book: repaired: found "20/5/2026" of claim "SM-1" and 5 more such cells, '
        "expected dates such as 2026-05-19"
    )


@pytest.mark.parametrize(
    ("dropped", "said", "column", "work"),
    [
        (
            (),
            "Done: repaired by 2026-05-20 (the book's column repaired). 2 closed claims without "
            "such a day count as work to come.",
            "repaired",
            2,
        ),
        (
            ("repaired",),
            "Done: claim closed by 2026-05-20, for the book has no column repaired. What was "
            "closed before it was repaired is missing from the work still to come; what is "
            "repaired and not closed is in it.",
            "closed",
            2,
        ),
        (
            ("repaired", "closed"),
            "Done: none, for the book has neither a column repaired nor closed. What is repaired "
            "is still in the work to come.",
            None,
            5,
        ),
    ],
)
def test_the_output_says_what_done_means_and_which_column_was_taken(
    dropped: tuple[str, ...], said: str, column: str | None, work: int
) -> None:
    made = forecast(without(*dropped).query("state != 'withdrawn'"))
    assert forecast_text(made).splitlines()[2] == said
    assert forecast_json(made)["done_by"] == column
    assert made.work.known_repair == work * 600


def told(**course: str) -> list[str]:
    table = pa.Table.from_pylist([{"claim": "A-1", "drafted": "2026-05-15"} | course])
    return [str(each) for each in course_problems(table, "book.csv", date(2026, 5, 12))]


def test_a_repair_may_be_done_before_the_claim_is_closed_and_after() -> None:
    assert told(repaired="2026-05-15", closed="2026-05-20") == []
    assert told(repaired="2026-05-28", closed="2026-05-20") == []
    assert told(repaired="") == []


@pytest.mark.parametrize(
    ("course", "said"),
    [
        ({"repaired": "2026-05-14"}, "found 2026-05-14, expected 2026-05-15, when it was drafted"),
        ({"repaired": "14 May"}, 'found "14 May", expected a date such as 2026-05-19'),
        (
            {"repaired": "2026-05-11", "drafted": ""},
            "found 2026-05-11, expected 2026-05-12, when it hailed, or later",
        ),
    ],
)
def test_a_repair_that_cannot_have_been_is_told(course: dict[str, str], said: str) -> None:
    [problem] = told(**course)
    assert problem.startswith(f"book.csv: claim A-1.repaired: {said}")


def test_pricing_carries_the_day_of_repair_along() -> None:
    row = {"claim": "A-1", "body": "sedan", "panel": "hood", "dime": 3, "repaired": "2026-05-20"}
    matrix = load_matrix(MATRICES / "copperfin-2026.toml")
    priced = price_book(pa.Table.from_pylist([row]), matrix)
    assert priced.vehicles.column("repaired").to_pylist() == ["2026-05-20"]
    dated = pa.Table.from_pylist([row | {"repaired": date(2026, 5, 20)}])
    assert price_book(dated, matrix).vehicles.column("repaired").to_pylist()[0] is not None
