"""Counts from CSV files (RFC 4180), as panels of a claim file.

Three kinds, all with a heading row. *Tallies*, one row a panel: `panel`, one column a coin,
and optionally `metal access repainted replace_cost agreed note`, marks as `mark:coin`
(`braced:dime`), and `oversize` with millimetres and marks: `41 body-line; 38.5 sharp+edge`.
*Single dents*, one row a dent: `panel,mm[,mm2][,x,y][,marks]`, marks joined by `+`; the longer
axis counts, and x and y are its place, mm from the panel's origin. A size is millimetres unless
it ends in `in` (`0.95in`), which is 25.4 mm each. *Outlines* of the shop's own, one row a shape:
`panel,kind,reach_mm,wkt`, the kind `outline` or that of a zone.

Functions take the text and give plain claim-file data, so that everything read from a CSV
passes the same checks as a claim file; a mistake names the line and the column.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from io import StringIO
from typing import Any, NamedTuple, get_args

from hailcalc.claimfile import MAX_DENTS, Mark
from hailcalc.problems import InputError, Problem, shown
from hailcalc.vehicle import PANELS, ZoneKind

MARKS: tuple[str, ...] = get_args(Mark)
ZONE_KINDS: tuple[str, ...] = get_args(ZoneKind)
_PLAIN_COLUMNS = {"metal", "access", "repainted", "replace_cost", "agreed", "note", "oversize"}
_SIZE = re.compile(r"([0-9]{1,4}(?:\.[0-9]{1,6})?) ?(mm|in|\")?")
_YES_NO = {"yes": True, "true": True, "no": False, "false": False}
_PLACE = re.compile(r"-?[0-9]{1,7}(?:\.[0-9]{1,15})?")


@dataclass(frozen=True, slots=True)
class _Row:
    line: int
    cells: dict[str, str]


def panels_from_tallies(text: str, coins: Sequence[str], file: str) -> list[dict[str, Any]]:
    """Claim-file panels from a CSV of tallies; `coins` are the coin names that may be columns.

    Raises InputError with every mistake.
    """
    problems: list[Problem] = []
    header, rows = _table(text, file)
    for name in header:
        if not _tally_column(name, coins):
            known = ", ".join(["panel", *coins, *sorted(_PLAIN_COLUMNS), "mark:coin"])
            problems.append(_at(file, 1, name, f"the unknown column {shown(name)}", known))
    panels = [] if problems else [_tally_panel(row, coins, file, problems) for row in rows]
    if problems:
        raise InputError(problems)
    return panels


def panels_from_dents(text: str, file: str) -> list[dict[str, Any]]:
    """Claim-file panels from a CSV of single dents. Raises InputError with every mistake."""
    problems: list[Problem] = []
    header, rows = _table(text, file)
    for name in header:
        if name not in {"panel", "mm", "mm2", "x", "y", "marks"}:
            known = "panel, mm, mm2, x, y or marks"
            problems.append(_at(file, 1, name, f"the unknown column {shown(name)}", known))
    if "mm" not in header:
        problems.append(_at(file, 1, "mm", "no such column", "panel and mm"))
    dents: dict[str, list[dict[str, Any]]] = {}
    for row in () if problems else rows:
        dent: dict[str, Any] = {"mm": _size(row, "mm", row.cells["mm"], file, problems)}
        if row.cells.get("mm2"):
            dent["mm2"] = _size(row, "mm2", row.cells["mm2"], file, problems)
        for axis in ("x", "y"):
            if row.cells.get(axis):
                dent[axis] = _place(row, axis, row.cells[axis], file, problems)
        if row.cells.get("marks"):
            dent["marks"] = _marks(row, "marks", row.cells["marks"], file, problems)
        dents.setdefault(row.cells["panel"], []).append(dent)
    if problems:
        raise InputError(problems)
    return [{"panel": panel, "dents": found} for panel, found in dents.items()]


def outlines_from_csv(text: str, file: str) -> dict[str, dict[str, Any]]:
    """Outlines and zones by panel, as keys of a claim file's panel, from a CSV with WKT.

    Raises InputError with every mistake in the table; the shapes are checked with the claim.
    """
    problems: list[Problem] = []
    header, rows = _table(text, file)
    for name in ("kind", "wkt"):
        if name not in header:
            problems.append(_at(file, 1, name, "no such column", "panel, kind, reach_mm and wkt"))
    for name in header:
        if name not in {"panel", "kind", "reach_mm", "wkt"}:
            known = "panel, kind, reach_mm or wkt"
            problems.append(_at(file, 1, name, f"the unknown column {shown(name)}", known))
    shapes: list[OutlineEntry] = []
    for row in () if problems else rows:
        cells = row.cells
        reach = cells.get("reach_mm") or "0"
        if not _PLACE.fullmatch(reach):
            problems.append(_at(file, row.line, "reach_mm", shown(reach), "millimetres"))
            continue
        place = f"line {row.line}"
        shapes.append(
            OutlineEntry(place, cells["panel"], cells["kind"], Decimal(reach), cells["wkt"] or None)
        )
    found = outlines_by_panel(shapes, file, problems)
    if problems:
        raise InputError(problems)
    return found


class OutlineEntry(NamedTuple):
    """One shape of an outlines file: where it stands, of which panel, of which kind."""

    place: str
    panel: str
    kind: str
    reach_mm: Decimal
    shape: Any


def outlines_by_panel(
    entries: Sequence[OutlineEntry], file: str, problems: list[Problem]
) -> dict[str, dict[str, Any]]:
    """Shapes put together panel by panel, with what is wrong in their kinds and panels."""
    found: dict[str, dict[str, Any]] = {}
    for entry in entries:
        where = (entry.place,)
        if entry.panel not in PANELS:
            expected = "a panel: " + ", ".join(PANELS)
            problems.append(Problem(file, (*where, "panel"), shown(entry.panel), expected))
            continue
        panel = found.setdefault(entry.panel, {})
        if entry.kind == "outline":
            if "outline" in panel:
                again = f"a second outline of the {entry.panel}"
                problems.append(Problem(file, where, again, "one outline a panel"))
            panel["outline"] = entry.shape or ""
        elif entry.kind in ZONE_KINDS:
            zone: dict[str, Any] = {"kind": entry.kind}
            if entry.shape is not None:
                zone["shape"] = entry.shape
            if entry.reach_mm:
                zone["reach_mm"] = entry.reach_mm
            panel.setdefault("zones", []).append(zone)
        else:
            expected = "outline, or a zone: " + ", ".join(ZONE_KINDS)
            problems.append(Problem(file, (*where, "kind"), shown(entry.kind), expected))
    return found


def _tally_column(name: str, coins: Sequence[str]) -> bool:
    if name == "panel" or name in _PLAIN_COLUMNS or name in coins:
        return True
    mark, _, coin = name.partition(":")
    return mark in MARKS and coin in coins


def _tally_panel(
    row: _Row, coins: Sequence[str], file: str, problems: list[Problem]
) -> dict[str, Any]:
    panel: dict[str, Any] = {"panel": row.cells["panel"]}
    tally: dict[str, int] = {}
    marked: dict[str, dict[str, int]] = {}
    for name, cell in row.cells.items():
        if name == "panel" or cell == "":
            continue
        if name in coins:
            tally[name] = _count(row, name, cell, file, problems)
        elif name == "oversize":
            panel["oversize"] = list(_oversize(row, cell, file, problems))
        elif name == "repainted":
            panel["repainted"] = _yes_no(row, cell, file, problems)
        elif name in _PLAIN_COLUMNS:
            panel[name] = cell
        else:
            mark, _, coin = name.partition(":")
            marked.setdefault(mark, {})[coin] = _count(row, name, cell, file, problems)
    if tally:
        panel["tally"] = tally
    if marked:
        panel["marked"] = marked
    return panel


def _table(text: str, file: str) -> tuple[list[str], list[_Row]]:
    """Heading and rows. Raises InputError where rows do not fit the heading."""
    if "\0" in text:
        raise InputError([Problem(file, (), "a NUL character", "text")])
    reader = csv.reader(StringIO(text.removeprefix("\ufeff"), newline=""), strict=True)
    problems: list[Problem] = []
    rows: list[_Row] = []
    try:
        header = [name.strip() for name in next(reader, [])]
        for cells in reader:
            if not any(cell.strip() for cell in cells):
                continue
            line = reader.line_num
            if len(cells) != len(header):
                problems.append(
                    Problem(
                        file,
                        (f"line {line}",),
                        f"{len(cells)} cells",
                        f"{len(header)}, as in the heading",
                    )
                )
            else:
                stripped = (cell.strip() for cell in cells)
                rows.append(_Row(line, dict(zip(header, stripped, strict=True))))
            if len(rows) > MAX_DENTS:
                raise InputError(
                    [Problem(file, (f"line {line}",), "more rows", f"at most {MAX_DENTS:,}")]
                )
    except csv.Error as error:
        place = (f"line {reader.line_num}",)
        raise InputError([Problem(file, place, str(error), "CSV (RFC 4180)")]) from None
    if "panel" not in header:
        problems.append(_at(file, 1, "panel", "no such column", "a heading row with `panel`"))
    for name in sorted({name for name in header if header.count(name) > 1}):
        problems.append(_at(file, 1, name, f"the column {shown(name)} twice", "each column once"))
    if problems:
        raise InputError(problems)
    return header, rows


def _at(file: str, line: int, column: str, found: str, expected: str) -> Problem:
    return Problem(file, (f"line {line}", column), found, expected)


def _count(row: _Row, column: str, cell: str, file: str, problems: list[Problem]) -> int:
    if cell.isascii() and cell.isdigit() and len(cell) <= 4:
        return int(cell)
    expected = "a whole number from 0 to 9999"
    problems.append(_at(file, row.line, column, shown(cell), expected))
    return 0


def _yes_no(row: _Row, cell: str, file: str, problems: list[Problem]) -> bool:
    if cell.lower() not in _YES_NO:
        problems.append(_at(file, row.line, "repainted", shown(cell), "yes or no"))
    return _YES_NO.get(cell.lower(), False)


def _size(row: _Row, column: str, cell: str, file: str, problems: list[Problem]) -> Decimal:
    """Millimetres of a size with or without its unit."""
    match = _SIZE.fullmatch(cell)
    if match is None:
        expected = 'millimetres such as 17.5, or inches with their unit such as "0.95in"'
        problems.append(_at(file, row.line, column, shown(cell), expected))
        return Decimal(1)
    size = Decimal(match[1])
    if match[2] in ("in", '"'):
        size = (size * Decimal("25.4")).quantize(Decimal("0.001")).normalize()
    if not 0 < size <= 500:
        problems.append(_at(file, row.line, column, shown(cell), "more than 0, at most 500 mm"))
    return size


def _place(row: _Row, column: str, cell: str, file: str, problems: list[Problem]) -> Decimal:
    """A coordinate on the panel, kept to the micrometre."""
    if _PLACE.fullmatch(cell) is None:
        expected = "millimetres from the panel's origin, such as 412 or 655.5"
        problems.append(_at(file, row.line, column, shown(cell), expected))
        return Decimal(0)
    return Decimal(cell)


def _marks(row: _Row, column: str, cell: str, file: str, problems: list[Problem]) -> list[str]:
    marks = [mark.strip() for mark in cell.split("+")]
    for mark in marks:
        if mark not in MARKS:
            known = "marks joined by +: " + ", ".join(MARKS)
            problems.append(_at(file, row.line, column, shown(mark), known))
    return marks


def _oversize(row: _Row, cell: str, file: str, problems: list[Problem]) -> Iterator[dict[str, Any]]:
    for entry in filter(None, (part.strip() for part in cell.split(";"))):
        size, _, marks = entry.partition(" ")
        if marks.partition(" ")[0] in ("mm", "in"):
            unit, _, marks = marks.partition(" ")
            size += unit
        dent: dict[str, Any] = {"mm": _size(row, "oversize", size, file, problems)}
        if marks.strip():
            dent["marks"] = _marks(row, "oversize", marks, file, problems)
        yield dent
