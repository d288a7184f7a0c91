"""What a book says of its claims' course, and what is told when it cannot be."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any

import pyarrow as pa
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hailcalc.storm.course import STATES, STEPS, course_problems

Table = dict[str, Any]

SOUND: Table = {
    "claim": "A-1", "state": "agreed", "drafted": "2026-05-15", "issued": "2026-05-15",
    "answered": "2026-05-22", "closed": "2026-05-30", "supplement_asked": "84.50",
    "supplement_paid": "84.50",
}  # fmt: skip


def told(*rows: Table) -> list[str]:
    table = pa.Table.from_pylist([SOUND | row for row in rows])
    return [str(problem) for problem in course_problems(table, "book.csv")]


def test_a_course_that_may_be_is_left_alone() -> None:
    nothing = dict.fromkeys((*STEPS, "state", "supplement_asked", "supplement_paid"))
    assert told({}, nothing, {"answered": "", "closed": " "}, {"drafted": None}) == []
    assert list(course_problems(pa.table({"claim": ["A-1"]}), "book.csv")) == []


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ({"state": "agred"}, 'claim A-1.state: found "agred", expected one of draft, issued, '),
        ({"issued": "2026-05-14"}, "claim A-1.issued: found 2026-05-14, expected 2026-05-15, when"),
        (
            {"issued": None, "answered": "2026-05-14"},
            "claim A-1.answered: found 2026-05-14, expected 2026-05-15, when it was drafted",
        ),
        ({"closed": "30.5.2026"}, 'claim A-1.closed: found "30.5.2026", expected a date such as'),
        ({"closed": "20260530"}, 'claim A-1.closed: found "20260530", expected a date such as'),
        ({"closed": "2026-02-30"}, 'claim A-1.closed: found "2026-02-30", expected a date such as'),
        (
            {"supplement_paid": "84.51"},
            "claim A-1.supplement_paid: found 84.51, expected at most what was asked, 84.50",
        ),
        (
            {"supplement_asked": None},
            "claim A-1.supplement_paid: found 84.50, expected at most what was asked, 0",
        ),
    ],
)
def test_a_mistake_is_told_with_its_claim(row: Table, said: str) -> None:
    [problem] = told({"claim": "B-1"}, row)
    assert problem.startswith(f"book.csv: {said}")


def test_all_mistakes_are_told_at_once() -> None:
    found = told({"state": "x", "closed": "y"}, {"claim": "A-2", "supplement_paid": "100"})
    assert [each.split(": ")[1] for each in found] == [
        "claim A-1.state", "claim A-1.closed", "claim A-2.supplement_paid",
    ]  # fmt: skip


def test_sums_may_be_decimals() -> None:
    paid = {"supplement_asked": Decimal("84.50"), "supplement_paid": Decimal("84.49")}
    assert told(paid) == []


@given(
    st.lists(st.none() | st.dates(), min_size=4, max_size=4), st.sampled_from((*STATES, "", None))
)
def test_days_in_order_are_right_and_others_are_not(days: list[Any], state: str | None) -> None:
    given_days = [day for day in days if day is not None]
    row = dict(zip(STEPS, days, strict=True)) | {"state": state}
    assert bool(told(row)) == (given_days != sorted(given_days))


def test_claims_before_the_hail_and_discounts_above_the_charge_are_told() -> None:
    rows = [
        SOUND | {"subtotal": "100.00", "discount": "100.00"},
        SOUND | {"claim": "B-1", "subtotal": "100.00", "discount": "100.01"},
        SOUND | {"claim": "C-1", "subtotal": "100.00", "discount": "0", "drafted": "2026-05-11"},
    ]
    found = course_problems(pa.Table.from_pylist(rows), "book.csv", date(2026, 5, 12))
    assert [str(problem) for problem in found] == [
        "book.csv: claim B-1.discount: found 100.01, expected at most what is charged before tax, "
        "100.00",
        "book.csv: claim C-1.drafted: found 2026-05-11, expected 2026-05-12, when it hailed, or "
        "later",
    ]
