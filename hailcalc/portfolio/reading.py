"""A book's table read: Arrow columns to the arrays that are priced, row by row checked.

The checks are those of a claim file, on whole columns: what a column holds, what the columns say of
a panel together, and what a claim's panels say together. A vehicle one of whose rows has a
mistake is set aside as a whole, with every mistake found in its rows; it is never priced in part.
What is wrong with the table itself (a column unknown, missing, or of a kind that cannot hold what
it should) raises `InputError`.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from functools import lru_cache
from typing import NamedTuple

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from hailcalc.estimate.compiled import UNITS_PER_MM
from hailcalc.matrix import MatrixTables
from hailcalc.money import plain
from hailcalc.portfolio.columns import CARRIED, COLUMNS, coin_column
from hailcalc.portfolio.rows import (
    ABSENT,
    ACCESSES,
    EQUIPMENT,
    MARKS,
    METALS,
    OTHER_KINDS,
    Rows,
    Whole,
    Yes,
)
from hailcalc.portfolio.tabulated import MAX_MM, MAX_OVERSIZE
from hailcalc.problems import InputError, Problem, shown
from hailcalc.vehicle import BODIES, PANELS, PANELS_OF_BODY

MAX_COUNT = 9999
_MONEY = r"^[0-9]{1,10}(\.[0-9]{1,4})?$"
_COUNT = r"^[0-9]{1,4}$"
_TOGETHER = "the rows of a claim together"
_MONEY_WORDS = 'a sum of zero or more with a point, such as "84.50", of at most 10 digits before it'
_PANDAS_INDEX = re.compile(r"__index_level_[0-9]+__")
"""What pandas calls the index of a frame in Parquet: no column of the book."""
_YES = ("yes", "true", "1")
_NO = ("no", "false", "0")


class Aside(NamedTuple):
    """One reason why a vehicle was set aside. `row` counts the rows of the book from 1."""

    row: int
    claim: str
    column: str
    found: str
    expected: str

    @property
    def vehicle(self) -> str | int:
        """What tells vehicles apart: the claim, or the row of one that has none."""
        return self.claim or self.row


def several_places(row: int, claim: str) -> Aside:
    """The reason for each place of a claim whose rows do not stand together."""
    return Aside(row, claim, "claim", _several(claim), _TOGETHER)


def _several(claim: str) -> str:
    return f"{shown(claim)} in several places"


class Book(NamedTuple):
    """A table as read: sound vehicles as arrays, what is carried along, and what was set aside."""

    rows: Rows
    carried: pa.Table
    """One row a sound vehicle: claim, and the columns of `columns.CARRIED` that the table has."""
    heads: Whole
    """The number of each sound vehicle's first row, and the same for each of its panels."""
    panel_heads: Whole
    aside: tuple[Aside, ...]


Words = Callable[[int], str]
"""What to say of a row."""


class _Found:
    """Mistakes as they are found: which rows have one, and what to say of them."""

    def __init__(self, size: int) -> None:
        self.bad: Yes = np.zeros(size, np.bool_)
        self.told: list[tuple[int, str, str, str]] = []

    def add(self, mask: Yes, column: str, found: Words, expected: Words) -> None:
        """Tell a mistake of every row in `mask`."""
        if not mask.any():
            return
        self.bad |= mask
        for row in np.flatnonzero(mask).tolist():
            self.told.append((row, column, found(row), expected(row)))


def _always(words: str) -> Words:
    return lambda row: words


def _number_at(numbers: Whole, words: str) -> Words:
    return lambda row: f"{numbers[row]} {words}"


def _shown_at(column: pa.Array, before: str = "") -> Words:
    return lambda row: before + shown(str(column[row].as_py()))


def require_columns(table: pa.Table, coins: Sequence[str], file: str) -> None:
    """Raise InputError with every column that is unknown, missing, twice or of a wrong kind."""
    names = table.column_names
    known = {*COLUMNS, *(coin_column(coin) for coin in coins)}
    problems = [
        Problem(file, (name,), "no such column", "a book has claim, body and panel")
        for name in ("claim", "body", "panel")
        if name not in names
    ]
    expected = ", ".join([*COLUMNS, *coins])
    problems += [
        Problem(file, (name,), f"the unknown column {shown(name)}", f"one of {expected}")
        for name in dict.fromkeys(names)
        if name not in known and not _PANDAS_INDEX.fullmatch(name)
    ]
    problems += [
        Problem(file, (name,), f"the column {names.count(name)} times", "each column once")
        for name in dict.fromkeys(names)
        if names.count(name) > 1
    ]
    for name in dict.fromkeys(names):
        if name not in known or names.count(name) > 1:
            continue
        expected_kind = _wrong_kind(name, table.schema.field(name).type, coins)
        if expected_kind:
            found = f"a column of {table.schema.field(name).type}"
            problems.append(Problem(file, (name,), found, expected_kind))
    if problems:
        raise InputError(problems)


_MONEY_COLUMNS = {
    "deductible", "agreed", "replace_cost", "supplement_asked", "supplement_paid", "discount",
    *(f"other_{kind}" for kind in OTHER_KINDS),
}  # fmt: skip


def _wrong_kind(name: str, kind: pa.DataType, coins: Sequence[str]) -> str:
    """What a column should hold, if its Arrow type cannot hold it; else nothing."""
    plain_kind = kind.value_type if pa.types.is_dictionary(kind) else kind
    text = (
        pa.types.is_string(plain_kind)
        or pa.types.is_large_string(plain_kind)
        or pa.types.is_string_view(plain_kind)
        or pa.types.is_null(plain_kind)
    )
    if text:
        return ""
    whole = pa.types.is_integer(plain_kind)
    if name in _MONEY_COLUMNS:
        exact = pa.types.is_decimal(plain_kind) or whole
        return "" if exact else "decimals or text, since no sum of money is a float"
    if name in {*MARKS, "loan_days", *(coin_column(coin) for coin in coins)}:
        return "" if whole or pa.types.is_floating(plain_kind) else "whole numbers"
    if name in {"repainted", "no_price"}:
        return "" if pa.types.is_boolean(plain_kind) or whole else "true or false"
    if name in {"date_of_loss", "drafted", "issued", "answered", "closed", "repaired"}:
        return "" if pa.types.is_date(plain_kind) else "dates or text"
    if name == "claim":
        return "" if whole else "text"
    return "text"


def read_rows(table: pa.Table, tables: MatrixTables, numbers: Whole | None = None) -> Book:
    """Read whole claims under a matrix's coins and currency. Columns as `require_columns` wants.

    `numbers` are the rows' numbers in their file; from 1 if not given.
    """
    if numbers is None:
        numbers = np.arange(1, table.num_rows + 1)
    found = _Found(table.num_rows)
    claim = text_column(table, "claim")
    first = beginnings(claim)
    lengths = np.diff(first)
    _check_claims(claim, first, found)
    codes = _Codes(table, found)
    body = codes.code("body", BODIES, None)
    panel = codes.code("panel", PANELS, ABSENT)
    metal = codes.code("metal", METALS, 0)
    access = codes.code("access", ACCESSES, 0)
    repainted = _yes_no(table, "repainted", found)
    no_price = _yes_no(table, "no_price", found)
    aim = codes.code("aim", ("cost", "minutes"), 0)
    equipment = _equipment(table, found)
    counts, everything = _counts(table, tables, found)
    marks = tuple(_whole(table, mark, found) for mark in MARKS)
    oversize_first, oversize = _oversize(table, tables, found)
    if oversize_first is not None:
        everything = everything + np.diff(oversize_first)
    agreed = _money(table, "agreed", tables, found)
    replace_cost = _money(table, "replace_cost", tables, found)
    deductible = _money(table, "deductible", tables, found)
    other = tuple(_money(table, f"other_{kind}", tables, found) for kind in OTHER_KINDS)
    for name in ("supplement_asked", "supplement_paid", "discount"):
        _money(table, name, tables, found)
    _whole(table, "loan_days", found)
    _check_panels(panel, body, first, found)
    _check_marks(marks, everything, found)
    _check_sums(access, agreed, replace_cost, found)
    _check_same(table, first, lengths, found)

    has_panel = panel != ABSENT
    bad_vehicle = _any(found.bad, first)
    sound = ~np.repeat(bad_vehicle, lengths)
    kept = sound & has_panel
    heads = first[:-1][~bad_vehicle]
    panels_of = np.add.reduceat(has_panel.astype(np.int64), first[:-1]) if len(lengths) else lengths
    sizes = panels_of[~bad_vehicle]
    offsets = np.concatenate([np.zeros(1, np.int64), np.cumsum(sizes)])
    rows = Rows(
        first=offsets,
        body=body[heads],
        equipment=equipment[heads],
        by_minutes=(aim[heads] == 1) if aim.any() else None,
        panel=panel[kept],
        metal=metal[kept],
        repainted=repainted[kept],
        access=access[kept],
        counts=tuple(count[kept] for count in counts),
        marks=tuple(_some(marked, kept) for marked in marks),
        oversize_first=_offsets_of(oversize_first, kept),
        oversize=_dents_of(oversize_first, oversize, kept),
        no_price=_some(no_price, kept),
        agreed=_some(agreed, kept, ABSENT),
        replace_cost=_some(replace_cost, kept, ABSENT),
        deductible=_or_zero(_some(deductible, heads, ABSENT)),
        other=tuple(_some(money, heads, ABSENT) for money in other),
    )
    carried = table.select([name for name in table.column_names if name in {"claim", *CARRIED}])
    return Book(
        rows=rows,
        carried=carried.take(pa.array(heads)),
        heads=numbers[heads],
        panel_heads=np.repeat(numbers[heads], sizes),
        aside=_asides(claim, found, numbers),
    )


def _asides(claim: pa.Array, found: _Found, numbers: Whole) -> tuple[Aside, ...]:
    """Mistakes in the order of the rows."""
    return tuple(
        Aside(int(numbers[row]), claim[row].as_py() or "", column, what, expected)
        for row, column, what, expected in sorted(found.told, key=lambda each: each[0])
    )


def _some(column: Whole | None, which: Whole, nothing: int = 0) -> Whole | None:
    """A column's places, or None if nothing is in them."""
    if column is None:
        return None
    some = column[which]
    return some if (some != nothing).any() else None


def _or_zero(column: Whole | None) -> Whole | None:
    return None if column is None else np.where(column == ABSENT, 0, column)


def _offsets_of(first: Whole | None, kept: Yes) -> Whole | None:
    if first is None:
        return None
    sizes = np.diff(first)[kept]
    return np.concatenate([np.zeros(1, np.int64), np.cumsum(sizes)]) if sizes.any() else None


def _dents_of(first: Whole | None, sizes: Whole | None, kept: Yes) -> Whole | None:
    if first is None or sizes is None:
        return None
    dents = sizes[np.repeat(kept, np.diff(first))]
    return dents if len(dents) else None


def array_of(column: pa.ChunkedArray | pa.Array) -> pa.Array:
    """A column in one piece."""
    if isinstance(column, pa.Array):
        return column
    return column.combine_chunks() if column.num_chunks != 1 else column.chunk(0)


def text_column(table: pa.Table, name: str) -> pa.Array:
    """A column as text, blanks at its ends taken off, empty cells as nothing."""
    column = array_of(table.column(name))
    if pa.types.is_dictionary(column.type):
        column = column.dictionary_decode()
    text = pc.utf8_trim_whitespace(column.cast(pa.string()))
    return pc.if_else(pc.equal(text, ""), pa.scalar(None, pa.string()), text)


def beginnings(claim: pa.Array) -> Whole:
    """Where a claim's rows begin, and the number of rows; a row without a claim is by itself."""
    size = len(claim)
    if size == 0:
        return np.zeros(1, np.int64)
    same = pc.fill_null(pc.equal(claim.slice(1), claim.slice(0, size - 1)), False)
    begins = np.flatnonzero(~same.to_numpy(zero_copy_only=False)) + 1
    return np.concatenate([[0], begins, [size]]).astype(np.int64)


def _any(mask: Yes, first: Whole) -> Yes:
    """Whether any row of a claim is in the mask."""
    if len(first) == 1:
        return mask[:0]
    some: Yes = np.logical_or.reduceat(mask, first[:-1])
    return some


def _check_claims(claim: pa.Array, first: Whole, found: _Found) -> None:
    missing = pc.is_null(claim).to_numpy(zero_copy_only=False)
    found.add(missing, "claim", lambda row: "nothing", lambda row: "the claim's number")
    long = pc.fill_null(pc.greater(pc.utf8_length(claim), 60), False)
    found.add(
        long.to_numpy(zero_copy_only=False),
        "claim",
        lambda row: f"{len(claim[row].as_py())} characters",
        lambda row: "at most 60",
    )
    mask: Yes = np.zeros(len(claim), np.bool_)
    mask[first[:-1][repeated(claim.take(pa.array(first[:-1])))]] = True
    found.add(
        mask,
        "claim",
        lambda row: _several(claim[row].as_py()),
        _always(_TOGETHER),
    )


def repeated(claims: pa.Array) -> Yes:
    """Which of the claims, one for each run of rows, stand there more than once."""
    codes = pc.fill_null(claims.dictionary_encode().indices, -1).to_numpy(zero_copy_only=False)
    times = np.bincount(codes + 1, minlength=1)
    times[0] = 0
    several: Yes = times[codes + 1] > 1
    return several


class _Codes:
    """Columns of names as positions among those that there are."""

    def __init__(self, table: pa.Table, found: _Found) -> None:
        self._table = table
        self._found = found

    def code(self, name: str, names: Sequence[str], default: int | None) -> Whole:
        """Positions in `names`; an empty cell is `default`, or a mistake if that is None."""
        size = self._table.num_rows
        if name not in self._table.column_names:
            return np.full(size, default or 0, np.int8)
        column = array_of(self._table.column(name))
        if pa.types.is_dictionary(column.type):
            values = _codes_of(column.dictionary, names)
            codes = pc.take(pa.array(values), column.indices)
            codes = pc.fill_null(codes, -2)
        else:
            codes = pa.array(_codes_of(column, names))
        result: Whole = codes.to_numpy(zero_copy_only=False).astype(np.int8)
        self._found.add(
            result == -3 if default is not None else (result == -3) | (result == -2),
            name,
            lambda row: shown(column[row].as_py()) if column[row].is_valid else "nothing",
            lambda row: f"one of {', '.join(names)}",
        )
        fill = 0 if default is None else default
        if result.min(initial=0) < 0:
            result = np.where(result == -2, np.int8(fill), result)
            result = np.where(result == -3, np.int8(0), result)
        return result


def _codes_of(column: pa.Array, names: Sequence[str]) -> Whole:
    """Positions in `names`; -2 for nothing, -3 for another text."""
    at = pc.index_in(column.cast(pa.string()), value_set=pa.array(names, pa.string()))
    codes: Whole = pc.fill_null(at, -3).to_numpy(zero_copy_only=False)
    if (codes == -3).any():
        trimmed = pc.utf8_trim_whitespace(column.cast(pa.string()))
        at = pc.fill_null(pc.index_in(trimmed, value_set=pa.array(names, pa.string())), -3)
        empty = pc.fill_null(pc.equal(trimmed, ""), True)
        codes = pc.if_else(empty, -2, at).to_numpy(zero_copy_only=False)
    return codes


def _yes_no(table: pa.Table, name: str, found: _Found) -> Yes:
    if name not in table.column_names:
        return np.zeros(table.num_rows, np.bool_)
    column = array_of(table.column(name))
    if pa.types.is_boolean(column.type):
        return np.asarray(pc.fill_null(column, False).to_numpy(zero_copy_only=False), np.bool_)
    text = pc.utf8_lower(text_column(table, name))
    yes = pc.is_in(text, value_set=pa.array(_YES)).to_numpy(zero_copy_only=False)
    no = pc.is_in(text, value_set=pa.array([*_NO, None], pa.string()))
    found.add(
        ~(yes | no.to_numpy(zero_copy_only=False)),
        name,
        lambda row: shown(text[row].as_py()),
        lambda row: "yes or no",
    )
    return np.asarray(yes, np.bool_)


def _equipment(table: pa.Table, found: _Found) -> Whole:
    """Bits of `EQUIPMENT`; each sort of cell is read once."""
    size = table.num_rows
    bits: Whole = np.zeros(size, np.int64)
    if "equipment" not in table.column_names:
        return bits
    encoded = text_column(table, "equipment").dictionary_encode()
    cells = encoded.dictionary.to_pylist()
    values: Whole = np.array([_equipment_bits(cell) for cell in cells] or [0], np.int64)
    at = pc.fill_null(encoded.indices, -1).to_numpy(zero_copy_only=False)
    bits = np.where(at >= 0, values[at], 0)
    found.add(
        bits < 0,
        "equipment",
        lambda row: shown(cells[at[row]]),
        lambda row: f"names joined by a semicolon, each once: {', '.join(EQUIPMENT)}",
    )
    return np.maximum(bits, 0)


def _equipment_bits(cell: str) -> int:
    names = [name.strip() for name in cell.split(";") if name.strip()]
    if len(set(names)) < len(names) or any(name not in EQUIPMENT for name in names):
        return -1
    return sum(1 << EQUIPMENT.index(name) for name in names)


def _counts(
    table: pa.Table, tables: MatrixTables, found: _Found
) -> tuple[tuple[Whole, ...], Whole]:
    """Counts by the matrix's columns, and their sum."""
    counts: list[Whole | None] = [None] * len(tables.columns)
    largest = tables.columns[-1].name
    beyond = f"dents beyond {largest} under oversize, with their millimetres"
    for coin in tables.coins:
        number = _whole(table, coin_column(coin.name), found)
        if number is None:
            continue
        column = tables.column_of.get(coin.name)
        if column is None:
            found.add(
                number > 0,
                coin_column(coin.name),
                _number_at(number, "dents"),
                lambda row: beyond,
            )
            continue
        so_far = counts[column]
        counts[column] = number if so_far is None else so_far + number
    empty: Whole = np.zeros(table.num_rows, np.int32)
    whole = tuple(empty if count is None else count for count in counts)
    total: Whole = np.zeros(table.num_rows, np.int64)
    for count in whole:
        total += count
    return whole, total


def _whole(table: pa.Table, name: str, found: _Found) -> Whole | None:
    """A column of counts, 0 to MAX_COUNT; None if the table has no such column, or it is empty."""
    if name not in table.column_names:
        return None
    column = array_of(table.column(name))
    if column.null_count == len(column):
        return None
    if pa.types.is_dictionary(column.type):
        column = column.dictionary_decode()
    if pa.types.is_integer(column.type):
        wide = pc.fill_null(column, 0).to_numpy(zero_copy_only=False)
        bad = (wide < 0) | (wide > MAX_COUNT)
    elif pa.types.is_floating(column.type):
        # A table with gaps that came through pandas: whole numbers as floats.
        real = pc.fill_null(column, 0).to_numpy(zero_copy_only=False)
        real = np.where(np.isnan(real), 0, real)
        bad = ~((real >= 0) & (real <= MAX_COUNT) & (np.floor(real) == real))
        wide = np.where(bad, 0, real)
    else:
        text = text_column(table, name)
        good = pc.fill_null(pc.match_substring_regex(text, _COUNT), True)
        bad = ~good.to_numpy(zero_copy_only=False)
        numbers = pc.if_else(good, text, pa.scalar(None, pa.string())).cast(pa.int16())
        wide = pc.fill_null(numbers, 0).to_numpy(zero_copy_only=False)
    found.add(
        np.asarray(bad, np.bool_),
        name,
        lambda row: shown(column[row].as_py()),
        lambda row: f"a whole number from 0 to {MAX_COUNT:,}",
    )
    return np.where(bad, 0, wide).astype(np.int32)


def _oversize(
    table: pa.Table, tables: MatrixTables, found: _Found
) -> tuple[Whole | None, Whole | None]:
    """Where each panel's oversize dents begin, and their sizes in tenths of a micrometre."""
    if "oversize" not in table.column_names:
        return None, None
    text = text_column(table, "oversize")
    some = np.flatnonzero(pc.is_valid(text).to_numpy(zero_copy_only=False)).tolist()
    if not some:
        return None, None
    largest = tables.columns[-1]
    sizes: list[int] = []
    numbers: Whole = np.zeros(table.num_rows, np.int64)
    wrong: dict[int, str] = {}
    least, most = int(largest.mm * UNITS_PER_MM), MAX_MM * UNITS_PER_MM
    for row in some:
        cells = [cell.strip() for cell in text[row].as_py().split(";") if cell.strip()]
        found_sizes = [_tenths_of_micrometres(cell) for cell in cells]
        for cell, size in zip(cells, found_sizes, strict=True):
            if not least < size <= most:
                wrong[row] = shown(cell)
        if len(cells) > MAX_OVERSIZE:
            wrong[row] = f"{len(cells)} dents"
        if row not in wrong:
            sizes += found_sizes
            numbers[row] = len(cells)
    mask: Yes = np.zeros(table.num_rows, np.bool_)
    mask[list(wrong)] = True
    found.add(
        mask,
        "oversize",
        lambda row: wrong[row],
        lambda row: (
            f"millimetres of up to {MAX_OVERSIZE} dents, each more than the largest column "
            f"({largest.name}, {plain(largest.mm)} mm) and at most {MAX_MM}, such as 41; 38.5"
        ),
    )
    first = np.concatenate([np.zeros(1, np.int64), np.cumsum(numbers)])
    return first, np.array(sizes, np.int64)


@lru_cache(maxsize=100_000)
def _tenths_of_micrometres(cell: str) -> int:
    """Millimetres with up to three decimals; 0 for anything else. The same sizes come again."""
    whole, point, rest = cell.partition(".")
    decimals = not point or (rest.isdigit() and len(rest) <= 3)
    if not (cell.isascii() and whole.isdigit() and len(whole) <= 3 and decimals):
        return 0
    return int(whole) * UNITS_PER_MM + int(rest.ljust(4, "0"))


def _money(table: pa.Table, name: str, tables: MatrixTables, found: _Found) -> Whole | None:
    """A column of sums in minor units, ABSENT where there is none; None without such a column."""
    if name not in table.column_names:
        return None
    column = array_of(table.column(name))
    if column.null_count == len(column):
        return None
    if pa.types.is_dictionary(column.type):
        column = column.dictionary_decode()
    if pa.types.is_decimal(column.type) or pa.types.is_integer(column.type):
        exact = column
        bad: Yes = np.zeros(len(column), np.bool_)
    else:
        exact = text_column(table, name)
        good = pc.fill_null(pc.match_substring_regex(exact, _MONEY), True)
        bad = ~good.to_numpy(zero_copy_only=False)
        exact = pc.if_else(good, exact, pa.scalar(None, pa.string())).cast(pa.decimal128(14, 4))
    units = _minor_units(exact, tables.decimals)
    lost = (units < ABSENT) & ~bad
    found.add(
        bad | lost,
        name,
        lambda row: shown(str(column[row].as_py())),
        lambda row: (
            f"{_MONEY_WORDS}, with at most {tables.decimals} decimals, as {tables.currency} has"
        ),
    )
    return np.where(bad | lost, ABSENT, units)


def _minor_units(column: pa.Array, decimals: int) -> Whole:
    """Decimals or whole numbers in minor units; ABSENT for nothing, less for what does not fit."""
    absent = pc.is_null(column).to_numpy(zero_copy_only=False)
    most = 10 ** (10 + decimals)
    if pa.types.is_integer(column.type):
        wide = pc.fill_null(column, 0).to_numpy(zero_copy_only=False)
        fits = (wide >= 0) & (wide < 10**10)
        units = np.where(fits, wide, 0).astype(np.int64) * 10**decimals
    else:
        scale = column.type.scale
        words = np.frombuffer(
            pc.fill_null(column.cast(pa.decimal128(38, scale)), 0).buffers()[1], "<i8"
        ).reshape(-1, 2)
        words = words[: len(column)]
        wide, high = words[:, 0], words[:, 1]
        fits = (high == 0) & (wide >= 0)
        if scale <= decimals:
            factor = 10 ** (decimals - scale)
            fits &= wide < most // factor
            units = np.where(fits, wide, 0) * factor
        else:
            factor = 10 ** (scale - decimals)
            fits &= (wide % factor == 0) & (wide // factor < most)
            units = wide // factor
    result: Whole = np.where(absent, ABSENT, np.where(fits, units, ABSENT - 1))
    return result


def _check_panels(panel: Whole, body: Whole, first: Whole, found: _Found) -> None:
    has: Yes = np.array(
        [[name in PANELS_OF_BODY[kind] for name in PANELS] for kind in BODIES], np.bool_
    )
    missing = (panel != ABSENT) & ~has[body, panel]
    found.add(
        missing,
        "panel",
        lambda row: f'"{PANELS[panel[row]]}" on a {BODIES[body[row]]}',
        lambda row: f"a panel that a {BODIES[body[row]]} has",
    )
    if len(first) == 1:
        return
    bits = np.where(panel == ABSENT, 0, np.int64(1) << np.maximum(panel, 0).astype(np.int64))
    starts = first[:-1]
    twice = np.add.reduceat(bits, starts) != np.bitwise_or.reduceat(bits, starts)
    lonely = np.add.reduceat((panel == ABSENT).astype(np.int64), starts) > 0
    lonely &= np.diff(first) > 1
    for mask, said in ((twice, "a panel twice"), (lonely, "a row without a panel among others")):
        rows: Yes = np.zeros(len(panel), np.bool_)
        rows[starts[mask]] = True
        found.add(rows, "panel", _always(said), lambda row: "each panel once")


def _check_marks(marks: Sequence[Whole | None], everything: Whole, found: _Found) -> None:
    for mark, marked in zip(MARKS, marks, strict=True):
        if marked is not None:
            found.add(
                marked > everything,
                mark,
                _number_at(marked, "marked"),
                lambda row: f"at most the {everything[row]} counted",
            )


def _check_sums(
    access: Whole, agreed: Whole | None, replace_cost: Whole | None, found: _Found
) -> None:
    replaced = access == ACCESSES.index("replace")
    without = replaced if replace_cost is None else replaced & (replace_cost == ABSENT)
    found.add(
        without,
        "replace_cost",
        lambda row: "nothing",
        lambda row: 'the price of the replacement, since access is "replace"',
    )
    if agreed is not None:
        found.add(
            replaced & (agreed != ABSENT),
            "agreed",
            lambda row: "an agreed price on a replaced panel",
            lambda row: "either an agreed price for the repair or a replacement",
        )


_OF_VEHICLE = (
    "body", "equipment", "aim", "matrix", "insurer", "date_of_loss", "deductible",
    *(f"other_{kind}" for kind in OTHER_KINDS), *(name for name in CARRIED if name != "body"),
)  # fmt: skip


def _check_same(table: pa.Table, first: Whole, lengths: Whole, found: _Found) -> None:
    """Columns of the vehicle say the same on each of its rows."""
    heads = pa.array(np.repeat(first[:-1], lengths))
    for name in dict.fromkeys(_OF_VEHICLE):
        if name not in table.column_names:
            continue
        column = array_of(table.column(name))
        if column.null_count == len(column):
            continue
        if pa.types.is_dictionary(column.type):
            column = column.dictionary_decode()
        at_head = column.take(heads)
        same = pc.or_(
            pc.fill_null(pc.equal(column, at_head), False),
            pc.and_(pc.is_null(column), pc.is_null(at_head)),
        ).to_numpy(zero_copy_only=False)
        found.add(
            ~same,
            name,
            _shown_at(column),
            _shown_at(at_head, "as on the claim's first row, "),
        )
