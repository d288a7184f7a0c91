"""Rows of CSV from files whose quoting cannot be trusted.

Remarks are free text: some are quoted as they should be (RFC 4180), with commas and line ends
inside, some hold a lone quote, some hold commas and no quotes. A strict reader would give up on
such a file; a lenient one would swallow every row up to the next quote. Here a quote that
closes soundly is believed and any other is a character like the rest, so that a row is lost to
no remark. Lines are counted from 1.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from typing import NamedTuple

MOST_LINES = 50
"""Lines that one quoted remark may have."""


class Row(NamedTuple):
    """The cells of a row, and the lines from which it was read; the first has number `line`."""

    line: int
    cells: list[str]
    lines: tuple[str, ...]


def csv_rows(text: str) -> Iterator[Row]:
    """Every row of a text but blank ones."""
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    at = 0
    while at < len(lines):
        row = _row(lines, at)
        if row.lines[0].strip(", \t"):
            yield row
        at += len(row.lines)


def _row(lines: list[str], at: int) -> Row:
    line = lines[at]
    if '"' not in line:
        return Row(at + 1, line.split(","), (line,))
    end = _closing(lines, at)
    taken = tuple(lines[at : end + 1])
    cells = _sound_cells(taken)
    if cells is None:
        return Row(at + 1, line.split(","), (line,))
    return Row(at + 1, cells, taken)


def _closing(lines: list[str], at: int) -> int:
    """The line on which every quote opened on line `at` is closed; `at` if there is none."""
    quotes = 0
    for k in range(at, min(at + MOST_LINES, len(lines))):
        quotes += lines[k].count('"')
        if quotes % 2 == 0:
            return k
    return at


def _sound_cells(lines: tuple[str, ...]) -> list[str] | None:
    """The cells of one row in so many lines; None if its quotes are not as RFC 4180 has them."""
    try:
        rows = list(csv.reader((f"{line}\n" for line in lines), strict=True))
    except csv.Error:
        return None
    # A quote in the middle of a cell is none of CSV's, and cannot join lines.
    return rows[0] if len(rows) == 1 else None
