"""A book priced: tables in, tables out.

`price_book` takes an Arrow or pandas table (`columns` says which columns) and gives two Arrow
tables, a row a vehicle and a row a panel, and the vehicles that were set aside with their reasons.
Money comes out as decimals, never as floats.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import Any, NamedTuple

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from hailcalc.claimfile import ClaimHeader
from hailcalc.estimate import CompiledMatrix, compile_matrix
from hailcalc.matrix import Matrix, choose_matrix
from hailcalc.portfolio.columns import SUMS
from hailcalc.portfolio.pricing import PanelSums, Priced, VehicleSums, price_rows
from hailcalc.portfolio.reading import (
    Aside,
    Book,
    array_of,
    beginnings,
    read_rows,
    repeated,
    require_columns,
    several_places,
    text_column,
)
from hailcalc.portfolio.rows import ACCESSES, METALS, Whole
from hailcalc.portfolio.tabulated import TabulatedMatrix, tabulate
from hailcalc.problems import InputError, shown
from hailcalc.vehicle import BODIES, PANELS

AnyMatrix = Matrix | CompiledMatrix

_TENTHS = pa.decimal128(18, 1)


class PricedBook(NamedTuple):
    """Vehicles and panels as Arrow tables (`panels` None if not asked for), and what was left out.

    `vehicles` has a row a vehicle and matrix, in the order of the book; `aside` are the reasons
    why others have none, under one matrix or all.
    """

    vehicles: pa.Table
    panels: pa.Table | None
    aside: tuple[Aside, ...]

    @property
    def vehicles_aside(self) -> int:
        """How many vehicles were set aside: claims, however many places their rows stand in."""
        return len({each.vehicle for each in self.aside})


class Pricing(NamedTuple):
    """Matrices made ready. With `own` a vehicle is priced by its own of them, else by each."""

    matrices: tuple[TabulatedMatrix, ...]
    own: bool

    @property
    def coins(self) -> tuple[str, ...]:
        """Every coin that a column may be named after."""
        names = (coin.name for each in self.matrices for coin in each.compiled.tables.coins)
        return tuple(dict.fromkeys(names))

    @property
    def decimals(self) -> int:
        """Decimals of the money in the priced tables: the most that a currency here has."""
        return max(each.compiled.tables.decimals for each in self.matrices)

    @property
    def money(self) -> pa.DataType:
        """The type of money in the priced tables: wider where 64 bits may not do."""
        digits = 38 if any(each.number is object for each in self.matrices) else 18
        return pa.decimal128(digits, self.decimals)


def prepare(matrix: AnyMatrix | Sequence[AnyMatrix] | Mapping[str, AnyMatrix]) -> Pricing:
    """Make matrices ready for whole books: one, several for each vehicle, or some to choose from.

    From a mapping each vehicle takes the one that its column `matrix` names, or else the one that
    fits its insurer and date of loss, as a single claim does.
    """
    if isinstance(matrix, Mapping):
        return Pricing(tuple(_tabulated(each) for each in matrix.values()), own=True)
    # A compiled matrix is a tuple itself.
    several = [matrix] if isinstance(matrix, (Matrix, CompiledMatrix)) else matrix
    return Pricing(tuple(_tabulated(each) for each in several), own=False)


def _tabulated(matrix: AnyMatrix) -> TabulatedMatrix:
    return tabulate(matrix if isinstance(matrix, CompiledMatrix) else compile_matrix(matrix))


def price_book(
    table: Any,
    matrix: AnyMatrix | Sequence[AnyMatrix] | Mapping[str, AnyMatrix],
    *,
    panels: bool = True,
    threads: int = 1,
    fast: bool = False,
    file: str = "book",
) -> PricedBook:
    """Price a whole book: an Arrow table or a pandas frame, one row a panel.

    `matrix` is one matrix, several that each price every vehicle, or a mapping in which each
    vehicle finds its own. Raises InputError for a table that cannot be a book; vehicles with
    mistakes are set aside. `panels=False` leaves the table of panels out; `fast` compiles a loop
    for the base prices, where numba is installed: worth it from some millions of panels on.
    """
    book = table if isinstance(table, pa.Table) else _from_pandas(table)
    pricing = prepare(matrix)
    require_columns(book, pricing.coins, file)
    return price_table(book, pricing, panels=panels, threads=threads, fast=fast)


def _from_pandas(frame: Any) -> pa.Table:
    if isinstance(frame, pa.RecordBatch):
        return pa.Table.from_batches([frame])
    return pa.Table.from_pandas(frame, preserve_index=False)


def price_table(
    table: pa.Table,
    pricing: Pricing,
    *,
    panels: bool = True,
    threads: int = 1,
    fast: bool = False,
    first_row: int = 1,
) -> PricedBook:
    """Price whole claims of a table whose columns were checked; its rows count from `first_row`."""
    numbers = np.arange(first_row, first_row + table.num_rows)
    aside: list[Aside] = []
    parts: list[tuple[Book, Priced, TabulatedMatrix]] = []
    choice = _choices(table, pricing, numbers, aside) if pricing.own else None
    for position, matrix in enumerate(pricing.matrices):
        part, of_part = table, numbers
        if choice is not None:
            mask = choice == position
            if not mask.any():
                continue
            if not mask.all():
                part, of_part = table.filter(pa.array(mask)), numbers[mask]
        book = read_rows(part, matrix.compiled.tables, of_part)
        aside += book.aside
        parts.append(
            (book, price_rows(book.rows, matrix, panels=panels, threads=threads, fast=fast), matrix)
        )
    return PricedBook(
        vehicles=_vehicles_table(parts, pricing, table),
        panels=_panels_table(parts, pricing) if panels else None,
        # Several matrices find the same mistakes.
        aside=tuple(sorted(dict.fromkeys(aside), key=lambda each: each.row)),
    )


def _choices(table: pa.Table, pricing: Pricing, numbers: Whole, aside: list[Aside]) -> Whole:
    """For each row the position of its claim's matrix; -1, with a reason, where none fits."""
    names = [each.compiled.matrix.name for each in pricing.matrices]
    first = beginnings(text_column(table, "claim"))
    if len(first) == 1:
        return np.zeros(0, np.int64)
    heads = table.take(pa.array(first[:-1]))
    nothing = pa.nulls(len(heads), pa.string())
    matrices = [each.compiled.matrix for each in pricing.matrices]
    number: Whole = np.zeros(len(heads), np.int64)
    texts: list[list[str | None]] = []
    for name in ("matrix", "insurer", "date_of_loss"):
        column = text_column(heads, name) if name in table.column_names else nothing
        encoded = column.dictionary_encode()
        texts.append([*encoded.dictionary.to_pylist(), None])
        last = len(texts[-1]) - 1
        code = pc.fill_null(encoded.indices, last).to_numpy(zero_copy_only=False)
        number = number * (last + 1) + code
    distinct, at = np.unique(number, return_inverse=True)
    found = [_choice(_cells_of(int(each), texts), matrices, names) for each in distinct]
    chosen: Whole = np.array([-1 if isinstance(each, tuple) else each for each in found])[at]
    claims = text_column(heads, "claim")
    for head in np.flatnonzero(chosen == -1).tolist():
        reason = found[at[head]]
        assert isinstance(reason, tuple), "a claim without a matrix has a reason"
        aside.append(
            Aside(int(numbers[first[head]]), claims[head].as_py() or "", "matrix", *reason)
        )
    for head in _torn(claims, chosen):
        aside.append(several_places(int(numbers[first[head]]), claims[head].as_py()))
        chosen[head] = -1
    return np.repeat(chosen, np.diff(first))


def _torn(claims: pa.Array, chosen: Whole) -> list[int]:
    """Places of claims that stand in several, under several matrices: none sees all their rows."""
    places: dict[str, list[int]] = {}
    for head in np.flatnonzero(repeated(claims)).tolist():
        places.setdefault(claims[head].as_py(), []).append(head)
    return [
        head for heads in places.values() if len(set(chosen[heads].tolist())) > 1 for head in heads
    ]


def _cells_of(number: int, texts: Sequence[Sequence[str | None]]) -> list[str | None]:
    """The cells behind a number that was put together column by column."""
    cells: list[str | None] = []
    for column in reversed(texts):
        number, code = divmod(number, len(column))
        cells.insert(0, column[code])
    return cells


def _choice(
    cells: Sequence[str | None], matrices: Sequence[Matrix], names: Sequence[str]
) -> int | tuple[str, str]:
    """The matrix of a claim that names one, or by its insurer and date; or why there is none."""
    matrix, insurer, day_of_loss = cells
    day = date.min
    if matrix is None:
        try:
            day = date.fromisoformat(day_of_loss or "")
        except ValueError:
            found = f"no matrix, and the date of loss {shown(day_of_loss or '')}"
            return found, "a matrix's name, or a date such as 2026-05-19"
    header = ClaimHeader(number="-", date_of_loss=day, insurer=insurer)
    try:
        return names.index(choose_matrix(header, matrix, matrices).name)
    except InputError as error:
        return error.problems[0].found, error.problems[0].expected


def _vehicles_table(
    parts: Sequence[tuple[Book, Priced, TabulatedMatrix]], pricing: Pricing, table: pa.Table
) -> pa.Table:
    """Every priced vehicle, in the order of the book."""
    made = [
        _of_vehicles(book, priced.vehicles, matrix, pricing.money) for book, priced, matrix in parts
    ]
    if not made:
        empty = read_rows(table.slice(0, 0), pricing.matrices[0].compiled.tables)
        priced = price_rows(empty.rows, pricing.matrices[0])
        return _of_vehicles(empty, priced.vehicles, pricing.matrices[0], pricing.money)
    heads = np.concatenate([book.heads for book, _, _ in parts])
    return _in_order(made, heads)


def _panels_table(
    parts: Sequence[tuple[Book, Priced, TabulatedMatrix]], pricing: Pricing
) -> pa.Table | None:
    made = [
        _of_panels(book, priced.panels, matrix, pricing.money)
        for book, priced, matrix in parts
        if priced.panels is not None
    ]
    if not made:
        return None
    return _in_order(made, np.concatenate([book.panel_heads for book, _, _ in parts]))


def _in_order(tables: Sequence[pa.Table], heads: Whole) -> pa.Table:
    """Tables one under the other, in the order of the claims' first rows."""
    joined = pa.concat_tables(tables)
    if len(tables) == 1:
        return joined
    return joined.take(pa.array(np.argsort(heads, kind="stable")))


def _of_vehicles(
    book: Book, sums: VehicleSums, matrix: TabulatedMatrix, money_type: pa.DataType
) -> pa.Table:
    size = book.rows.vehicles
    columns: dict[str, pa.Array] = {
        name: text_column(book.carried, name) for name in book.carried.column_names
    }
    columns["matrix"] = _same(matrix.compiled.matrix.name, size)
    columns["currency"] = _same(matrix.compiled.tables.currency, size)
    columns["panels"] = pa.array(sums.panels.astype(np.int32))
    columns["dents"] = pa.array(sums.dents.astype(np.int32))
    factor = 10 ** (money_type.scale - matrix.compiled.tables.decimals)
    money = sums.kinds | {"body_work": sums.kinds["body"]}
    money |= {name: getattr(sums, name) for name in ("subtotal", "tax", "total")}
    money |= {"deductible": sums.deductible, "net": sums.net}
    columns |= {name: _decimals(money[name] * factor, money_type) for name in SUMS}
    columns["complete"] = pa.array(np.asarray(sums.complete, np.bool_))
    columns["repair_minutes"] = _decimals(sums.repair_tenths, _TENTHS)
    columns["removal_minutes"] = _decimals(sums.removal_tenths, _TENTHS)
    return pa.table(columns)


def _of_panels(
    book: Book, sums: PanelSums, matrix: TabulatedMatrix, money_type: pa.DataType
) -> pa.Table:
    rows = book.rows
    of_vehicle = np.repeat(np.arange(rows.vehicles), np.diff(rows.first))
    factor = 10 ** (money_type.scale - matrix.compiled.tables.decimals)
    money = {
        "repair": sums.repair,
        "oversize": sums.oversize,
        "extra": sums.extra,
        "body_work": sums.body,
        "amount": sums.repair + sums.oversize + sums.extra + sums.body,
    }
    columns = {
        "claim": text_column(book.carried, "claim").take(pa.array(of_vehicle)),
        "panel": _named(rows.panel, PANELS),
        "matrix": _same(matrix.compiled.matrix.name, rows.panels),
        "currency": _same(matrix.compiled.tables.currency, rows.panels),
        "body": _named(rows.body[of_vehicle], BODIES),
        "metal": _named(rows.metal, METALS),
        "access": _named(rows.access, ACCESSES),
        "dents": pa.array(sums.dents.astype(np.int32)),
    }
    columns |= {name: _decimals(amounts * factor, money_type) for name, amounts in money.items()}
    columns["priced"] = pa.array(np.asarray(sums.priced, np.bool_))
    return pa.table(columns)


def _same(text: str, size: int) -> pa.Array:
    return pa.DictionaryArray.from_arrays(np.zeros(size, np.int32), pa.array([text])).cast(
        pa.string()
    )


def _named(codes: Whole, names: Iterable[str]) -> pa.Array:
    return pa.array(list(names)).take(pa.array(codes.astype(np.int32)))


def _decimals(amounts: Whole, kind: pa.DataType) -> pa.Array:
    """Whole numbers as Arrow decimals of a kind, whose last decimal they count."""
    if amounts.dtype == object:
        from decimal import Decimal

        exact = [Decimal(int(amount)).scaleb(-kind.scale) for amount in amounts]
        return pa.array(exact, kind)
    words: Whole = np.empty((len(amounts), 2), "<i8")
    words[:, 0] = amounts
    words[:, 1] = amounts >> 63
    return pa.Array.from_buffers(kind, len(amounts), [None, pa.py_buffer(words)])


def whole_numbers(column: Any) -> Whole:
    """A decimal column of a priced table as whole numbers of its last decimal."""
    array = array_of(column)
    words: Whole = np.frombuffer(array.buffers()[1], "<i8").reshape(-1, 2)
    return words[array.offset : array.offset + len(array), 0].copy()
