"""What a book says of its claims' course, checked: states, days, supplements.

Pricing carries these facts along and looks at none of them. A storm's figures hang on them: a
state that is written wrong would turn agreed money into open money, and days in the wrong order
would make waits shorter than nothing. What cannot have been is refused as well: claims before the
hail, more taken off than was charged.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from hailcalc.problems import Problem, shown

if TYPE_CHECKING:
    import pyarrow as pa

STATES = ("draft", "issued", "answered", "agreed", "withdrawn")
STEPS = ("drafted", "issued", "answered", "closed")
"""Days of a claim's course, in the order in which they come; each may be missing."""

REPAIRED = "repaired"
"""The day on which the repair was done: before a claim is closed, or after."""


def course_problems(vehicles: pa.Table, file: str, hail: date | None = None) -> Iterator[Problem]:
    """Every mistake in the course of priced vehicles, each with its claim.

    `vehicles` as pricing gives them; columns that the book does not have are left alone. `hail` is
    the day on which it fell, if that is known.
    """
    fell = hail.isoformat() if hail else ""
    columns = {name: _cells(vehicles, name) for name in (*STEPS, REPAIRED, "state")}
    sums = {name: _cells(vehicles, f"supplement_{name}") for name in ("asked", "paid")}
    taken, charged = _cells(vehicles, "discount"), _cells(vehicles, "subtotal")
    for at, claim in enumerate(_cells(vehicles, "claim")):
        where = f"claim {claim}"
        state = columns["state"][at]
        if state and state not in STATES:
            expected = f"one of {', '.join(STATES)}"
            yield Problem(file, (where, "state"), shown(state), expected)
        yield from _day_problems(where, [columns[name][at] for name in STEPS], fell, file)
        yield from _repair_problems(
            where, columns[REPAIRED][at], columns["drafted"][at], fell, file
        )
        asked, paid = (Decimal(sums[name][at] or "0") for name in ("asked", "paid"))
        if paid > asked:
            expected = f"at most what was asked, {asked}"
            yield Problem(file, (where, "supplement_paid"), str(paid), expected)
        if charged[at] and Decimal(taken[at] or "0") > Decimal(charged[at]):
            expected = f"at most what is charged before tax, {charged[at]}"
            yield Problem(file, (where, "discount"), taken[at], expected)


def _cells(table: pa.Table, name: str) -> Sequence[str]:
    """A column as text, empty where there is nothing."""
    if name not in table.column_names:
        return [""] * table.num_rows
    cells: list[Any] = table.column(name).to_pylist()
    return ["" if cell is None else str(cell).strip() for cell in cells]


def _day_problems(where: str, days: Sequence[str], fell: str, file: str) -> Iterator[Problem]:
    last, last_words = fell, "when it hailed"
    for name, day in zip(STEPS, days, strict=True):
        if not day:
            continue
        if not _is_day(day):
            yield Problem(file, (where, name), shown(day), "a date such as 2026-05-19")
            continue
        # Dates as ISO text stand in the order of the calendar.
        if last and day < last:
            yield Problem(file, (where, name), day, f"{last}, {last_words}, or later")
        last, last_words = day, f"when it was {name}"


def _repair_problems(
    where: str, repaired: str, drafted: str, fell: str, file: str
) -> Iterator[Problem]:
    """A repair is done after the vehicle came, whatever the claim still waits for."""
    if not repaired:
        return
    if not _is_day(repaired):
        yield Problem(file, (where, REPAIRED), shown(repaired), "a date such as 2026-05-19")
    elif _is_day(drafted) and repaired < drafted:
        yield Problem(
            file, (where, REPAIRED), repaired, f"{drafted}, when it was drafted, or later"
        )
    elif repaired < fell:
        yield Problem(file, (where, REPAIRED), repaired, f"{fell}, when it hailed, or later")


def _is_day(text: str) -> bool:
    if len(text) != len("2026-05-19"):
        return False
    try:
        date.fromisoformat(text)
    except ValueError:
        return False
    return True
