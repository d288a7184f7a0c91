"""CSV that a spreadsheet opens as a table and runs nothing of.

A cell that begins with = + - @, a tab or a line end, or their full-width forms, is a formula to
one spreadsheet or another; such a text gets an apostrophe before it, which spreadsheets do not
show (the usual advice against CSV injection, *from memory*). Numbers are numbers: a decimal string
with a minus is left as it is.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Sequence
from io import StringIO

_RUNS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠", "|", "%")
_NUMBER = re.compile(r"-?[0-9]+(\.[0-9]+)?")

Cell = str | int | bool | None


def csv_text(head: Sequence[str], rows: Iterable[Sequence[Cell]]) -> str:
    """Rows under their heads, RFC 4180: commas, quotes where they are needed, CRLF."""
    out = StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(head)
    for row in rows:
        writer.writerow([cell_text(cell) for cell in row])
    return out.getvalue()


def cell_text(cell: Cell) -> str:
    """A cell that runs nothing; nothing for None."""
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    text = str(cell)
    if _NUMBER.fullmatch(text):
        return text
    return f"'{text}" if text.lstrip().startswith(_RUNS) or text.startswith(_RUNS) else text
