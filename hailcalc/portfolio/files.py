"""Books as files: read in batches of whole claims, priced, written in parts, joined at the end.

Memory stays the same however large the book is: a batch is read, priced and written as a part
beside the result before the next one is read. After each part a note says how far the book is
done, so that a run that was killed goes on from there; the parts become one file when all
are there. Vehicles that cannot be priced are listed, with their rows and reasons, in a file
beside the result.
"""

from __future__ import annotations

import csv
import hashlib
import json
import shutil
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from heapq import merge
from io import StringIO
from itertools import islice
from pathlib import Path
from typing import Any, BinaryIO, NamedTuple

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as pacsv
import pyarrow.parquet as pq

from hailcalc import __version__
from hailcalc.files import write_all, written_beside
from hailcalc.portfolio.book import PricedBook, Pricing, price_table
from hailcalc.portfolio.columns import SUMS
from hailcalc.portfolio.reading import (
    Aside,
    beginnings,
    require_columns,
    several_places,
    text_column,
)
from hailcalc.portfolio.rows import Whole
from hailcalc.problems import InputError, Problem, shown
from hailcalc.spreadsheet import cell_text, csv_text

BATCH = 262_144
"""Rows read at a time."""
_WORTH_COMPILING = 3_000_000
"""Rows from which the second of compiling a loop is regained."""
_LONGEST_CLAIM = 10_000
"""Rows of one claim that are kept together; there are fewer panels than that."""
_ENCODINGS = {"utf-8", "latin-1"}
_REASONS = 10_000
"""Rows of the file of reasons that are written at a time."""
_PARTS = 2
"""How parts are written: what was written otherwise is begun anew."""

Told = Callable[[int, int | None], None]
"""Told how many rows are done, and of how many (None if that is not known)."""


class Source(NamedTuple):
    """A book's file: how many rows it has, if that is known, and its columns."""

    path: Path
    rows: int | None
    encoding: str


class Done(NamedTuple):
    """What came of a book: vehicles priced and set aside, rows read, sums by matrix."""

    rows: int
    vehicles: int
    incomplete: int
    vehicles_aside: int
    by_matrix: tuple[MatrixSums, ...]
    resumed_at: int


class MatrixSums(NamedTuple):
    """Sums of a book under one matrix, in minor units of its currency, which has `decimals`."""

    matrix: str
    currency: str
    vehicles: int
    incomplete: int
    decimals: int
    sums: dict[str, int]


def read_book(path: Path, encoding: str = "utf-8") -> pa.Table:
    """A whole book as a table. Raises InputError if the file is no book that can be read."""
    batches = [table for _, table in batches_of(source(path, encoding))]
    return pa.concat_tables(batches) if batches else _empty(path, encoding)


def source(path: Path, encoding: str = "utf-8") -> Source:
    """A book's file, looked at. Raises InputError if it is neither Parquet nor CSV."""
    if encoding not in _ENCODINGS:
        raise InputError([Problem(str(path), (), shown(encoding), "utf-8 or latin-1")])
    try:
        with path.open("rb") as file:
            head = file.read(4)
    except OSError as error:
        reason = (error.strerror or "unreadable").lower()
        raise InputError([Problem(str(path), (), reason, "a book, Parquet or CSV")]) from None
    if head == b"PAR1":
        with _parquet(path) as file:
            return Source(path, file.metadata.num_rows, encoding)
    if path.suffix.lower() == ".parquet":
        raise InputError([Problem(str(path), (), "no Parquet", "a Parquet file, whole")])
    return Source(path, None, encoding)


def _is_parquet(path: Path) -> bool:
    with path.open("rb") as file:
        return file.read(4) == b"PAR1"


def _parquet(path: Path) -> pq.ParquetFile:
    try:
        return pq.ParquetFile(path)
    except (pa.ArrowException, OSError) as error:
        raise _broken(path, error) from None


def _broken(path: Path, error: Exception) -> InputError:
    reason = str(error).splitlines()[0] if str(error) else type(error).__name__
    return InputError([Problem(str(path), (), f"a broken file ({reason})", "a whole file")])


def batches_of(book: Source, rows: int = BATCH) -> Iterator[tuple[int, pa.Table]]:
    """Tables of whole claims with the number of their first row, counted from 1.

    Raises InputError where the file cannot be read on.
    """
    kept: pa.Table | None = None
    first_row = 1
    for batch in _raw_batches(book, rows):
        table = pa.Table.from_batches([batch])
        if kept is not None:
            table = pa.concat_tables([kept, table])
        claims = _claims(table)
        begins = None if claims is None else beginnings(claims)
        cut = 0 if begins is None or len(begins) < 3 else int(begins[-2])
        if cut == 0 and table.num_rows > _LONGEST_CLAIM:
            cut = table.num_rows
        if cut:
            yield first_row, table.slice(0, cut)
            first_row += cut
        kept = table.slice(cut)
    if kept is not None and kept.num_rows:
        yield first_row, kept


def _claims(table: pa.Table) -> pa.Array | None:
    """The claim of each row; None without such a column: whoever checks the columns says so."""
    if "claim" not in table.column_names:
        return None
    try:
        return text_column(table, "claim")
    except pa.ArrowException:
        return None


def _raw_batches(book: Source, rows: int) -> Iterator[pa.RecordBatch]:
    if _is_parquet(book.path):
        with _parquet(book.path) as file:
            try:
                yield from file.iter_batches(rows)
            except (pa.ArrowException, OSError) as error:
                raise _broken(book.path, error) from None
        return
    yield from _csv_batches(book, rows)


def _csv_batches(book: Source, rows: int) -> Iterator[pa.RecordBatch]:
    """A CSV's rows, every cell as text: commas, semicolons or tabs, with or without a BOM."""
    names, separator = _csv_head(book)
    wrong: list[tuple[int, int]] = []

    def ragged(row: Any) -> str:
        wrong.append((row.number or 0, row.actual_columns))
        return "error"

    try:
        with pacsv.open_csv(
            book.path,
            read_options=pacsv.ReadOptions(
                block_size=max(1 << 16, 64 * rows),
                encoding="latin-1" if book.encoding == "latin-1" else "utf8",
                use_threads=False,
            ),
            parse_options=pacsv.ParseOptions(
                delimiter=separator, newlines_in_values=True, invalid_row_handler=ragged
            ),
            convert_options=pacsv.ConvertOptions(
                column_types={name: pa.string() for name in names}, strings_can_be_null=True
            ),
        ) as file:
            yield from file
    except pa.ArrowException as error:
        raise _csv_problem(book, error, wrong, len(names)) from None


def _csv_problem(
    book: Source, error: Exception, wrong: Sequence[tuple[int, int]], columns: int
) -> InputError:
    path = str(book.path)
    if wrong:
        line, found = wrong[0]
        where = (f"row {line - 1}",) if line else ()
        return InputError([Problem(path, where, f"{found} cells", f"{columns}, as in the heading")])
    if "UTF8" in str(error) or "UTF-8" in str(error):
        expected = "UTF-8 text; if it is Latin-1, say --encoding latin-1"
        return InputError([Problem(path, (), "bytes that are no UTF-8", expected)])
    return _broken(book.path, error)


def _csv_head(book: Source) -> tuple[list[str], str]:
    """The names in a CSV's first line, and what separates them."""
    try:
        with book.path.open("rb") as file:
            line = file.readline(100_000)
    except OSError as error:
        raise _broken(book.path, error) from None
    encoding = "latin-1" if book.encoding == "latin-1" else "utf-8-sig"
    try:
        text = line.decode(encoding)
    except UnicodeDecodeError:
        expected = "UTF-8 text; if it is Latin-1, say --encoding latin-1"
        raise InputError([Problem(str(book.path), (), "no UTF-8 text", expected)]) from None
    separator = max(",;\t", key=text.count)
    names = next(csv.reader(StringIO(text), delimiter=separator), [])
    if not any(names):
        raise InputError([Problem(str(book.path), (), "an empty file", "a heading and rows")])
    return names, separator


def _empty(path: Path, encoding: str) -> pa.Table:
    """A book with a heading and no rows."""
    if _is_parquet(path):
        with _parquet(path) as file:
            return file.schema_arrow.empty_table()
    names, _ = _csv_head(Source(path, None, encoding))
    return pa.table({name: pa.array([], pa.string()) for name in names})


# --- pricing a file into a file ----------------------------------------------------------------


class Outputs(NamedTuple):
    """Where a priced book goes: vehicles, panels if wanted, and what was set aside."""

    vehicles: Path
    panels: Path | None
    aside: Path

    @property
    def parts(self) -> Path:
        """The folder of parts, beside the result, while the book is being priced."""
        return self.vehicles.with_name(self.vehicles.name + ".parts")


PriceParts = Callable[[Iterator[tuple[int, pa.Table]]], Iterator[PricedBook]]
"""Prices parts of a book, each with the number of its first row, and gives them back in order."""


def price_file(
    book: Source,
    pricing: Pricing,
    out: Outputs,
    *,
    threads: int = 1,
    rows: int = BATCH,
    told: Told | None = None,
    price_parts: PriceParts | None = None,
) -> Done:
    """Price a book's file into files, a part at a time; goes on where an earlier run was killed.

    `price_parts` may spread the work over other processes; it gives back what it was given in the
    same order. Raises InputError for a file that is no book. What was done stays in the folder of
    parts, unless nothing was or the same file cannot be read on.
    """
    require_apart(book.path, out)
    key = _key(book, pricing, out, rows)
    with _under_way(book, out.parts, key) as (resumed_at, number):
        done_rows = resumed_at
        met = _Met()

        def work(tables: Iterator[tuple[int, pa.Table]]) -> Iterator[PricedBook]:
            for first_row, table in tables:
                yield price_table(
                    table,
                    pricing,
                    panels=out.panels is not None,
                    threads=threads,
                    fast=(book.rows or 0) >= _WORTH_COMPILING,
                    first_row=first_row,
                )

        waiting: list[tuple[int, int]] = []
        read = met.passing(batches_of(book, rows))
        batches = _remembered(_from_row(read, done_rows, book, pricing), waiting)
        for priced in (price_parts or work)(batches):
            first_row, size = waiting.pop(0)
            _write_part(out, number, priced)
            number += 1
            done_rows = first_row + size - 1
            _note(out.parts, key, done_rows, number)
            if told is not None:
                told(done_rows, book.rows)
        if number == 0:
            table = _empty(book.path, book.encoding)
            require_columns(table, pricing.coins, str(book.path))
            _write_part(out, 0, price_table(table, pricing, panels=out.panels is not None))
            number = 1
        found = _join(out, number, pricing, _come_again(book, rows, met.suspected()))
        return found._replace(rows=done_rows, resumed_at=resumed_at)


@contextmanager
def _under_way(book: Source, parts: Path, key: str) -> Iterator[tuple[int, int]]:
    """The folder of parts while it is worked in: rows and parts that are done already.

    It stays only for a run that may go on. Where nothing was done, or the book itself is wrong
    (mended it is another file, and begun anew), it goes.
    """
    begun = _begin(parts, key)
    try:
        yield begun
    except BaseException as error:
        if not (parts / "progress.json").exists() or _is_about(error, book):
            shutil.rmtree(parts, ignore_errors=True)
        raise
    shutil.rmtree(parts)


def _is_about(error: BaseException, book: Source) -> bool:
    return isinstance(error, InputError) and all(
        each.file == str(book.path) for each in error.problems
    )


def require_apart(book: Path, out: Outputs, *, written: bool = False) -> None:
    """Raise InputError if two files would be one, or one that is `written` is no kind of table."""
    places = [path for path in (book, out.vehicles, out.panels, out.aside) if path is not None]
    if len({path.resolve() for path in places}) < len(places):
        raise InputError([Problem(str(out.vehicles), (), "one file twice", "a file for each")])
    for path in (out.vehicles, out.panels, book if written else None):
        if path is not None and path.suffix.lower() not in {".parquet", ".csv"}:
            raise InputError([Problem(str(path), (), "that ending", ".parquet or .csv")])


def _from_row(
    batches: Iterator[tuple[int, pa.Table]], done: int, book: Source, pricing: Pricing
) -> Iterator[tuple[int, pa.Table]]:
    """Batches beyond the rows that are done; columns are checked on the first."""
    checked = False
    for first_row, table in batches:
        if not checked:
            require_columns(table, pricing.coins, str(book.path))
            checked = True
        if first_row + table.num_rows - 1 > done:
            skipped = max(0, done + 1 - first_row)
            yield first_row + skipped, table.slice(skipped)


def _remembered(
    batches: Iterator[tuple[int, pa.Table]], waiting: list[tuple[int, int]]
) -> Iterator[tuple[int, pa.Table]]:
    """Batches, with first row and size kept for when they come back priced."""
    for first_row, table in batches:
        waiting.append((first_row, table.num_rows))
        yield first_row, table


class _Met:
    """Claims that were met, as 64-bit hashes, each once a part: who comes again is found by them.

    Eight bytes a claim is all that is kept of a book while it is priced. Two claims may share a
    hash, so whoever is suspected is looked for by name (`_come_again`).
    """

    def __init__(self) -> None:
        self._parts: list[Whole] = []

    def passing(self, batches: Iterator[tuple[int, pa.Table]]) -> Iterator[tuple[int, pa.Table]]:
        """Batches as they are, their claims taken in on the way."""
        for first_row, table in batches:
            if _claims(table) is not None:
                self._parts.append(np.unique(_hashes(_heads(table)[1])))
            yield first_row, table

    def suspected(self) -> Whole:
        """Hashes that were met in more than one part."""
        if len(self._parts) < 2:
            return np.zeros(0, np.uint64)
        distinct, times = np.unique(np.concatenate(self._parts), return_counts=True)
        return distinct[times > 1]


def _heads(table: pa.Table) -> tuple[Whole, pa.Array]:
    """Where the rows of each claim begin in a table, and the claim; rows without one left out."""
    claims = text_column(table, "claim")
    first = beginnings(claims)[:-1]
    first = first[pc.is_valid(claims.take(pa.array(first))).to_numpy(zero_copy_only=False)]
    return first, claims.take(pa.array(first))


def _hashes(claims: pa.Array) -> Whole:
    import pandas as pd

    names = claims.to_numpy(zero_copy_only=False)
    return pd.util.hash_array(names.astype(object), categorize=False)


def _come_again(book: Source, rows: int, suspected: Whole) -> dict[str, list[int]]:
    """Claims whose rows stand in several places, with the first row of each; by a second reading.

    Only claims that the first reading has `suspected` are looked for; there are few, if any.
    """
    if len(suspected) == 0:
        return {}
    places: dict[str, list[int]] = {}
    for first_row, table in batches_of(book, rows):
        heads, claims = _heads(table)
        for at in np.flatnonzero(np.isin(_hashes(claims), suspected)).tolist():
            places.setdefault(claims[at].as_py(), []).append(first_row + int(heads[at]))
    return {claim: found for claim, found in places.items() if len(found) > 1}


def _part(folder: Path, number: int, kind: str) -> Path:
    ending = "json" if kind == "aside" else "parquet"
    return folder / f"{kind}-{number:06}.{ending}"


def _key(book: Source, pricing: Pricing, out: Outputs, rows: int) -> str:
    """What a run depends on, hashed: another file, matrix or version begins anew."""
    about = book.path.stat()
    said = {
        "version": __version__,
        "parts": _PARTS,
        "book": [str(book.path.resolve()), about.st_size, about.st_mtime_ns, book.encoding],
        "matrices": [each.compiled.matrix.model_dump(mode="json") for each in pricing.matrices],
        "own": pricing.own,
        "panels": out.panels is not None,
        "rows": rows,
    }
    return hashlib.sha256(json.dumps(said, sort_keys=True).encode()).hexdigest()


def _begin(parts: Path, key: str) -> tuple[int, int]:
    """Rows and parts that an earlier run of the same kind has done; a new folder otherwise."""
    try:
        note = json.loads((parts / "progress.json").read_text())
        if note["key"] == key:
            return int(note["rows"]), int(note["parts"])
    except (OSError, ValueError, KeyError, TypeError):
        pass
    if parts.exists() and not _is_ours(parts):
        found = "a folder or file there already that no run of this kind has made"
        raise InputError([Problem(str(parts), (), found, "another name for the result")])
    try:
        if parts.exists():
            shutil.rmtree(parts)
        parts.mkdir()
    except OSError as error:
        reason = (error.strerror or "no folder").lower()
        raise InputError([Problem(str(parts), (), reason, "a folder to write in")]) from None
    return 0, 0


def _is_ours(parts: Path) -> bool:
    """Whether a folder of parts holds nothing but parts, and may be begun anew."""
    return parts.is_dir() and all(
        each.name == "progress.json"
        or each.name.startswith((".hailcalc-", "vehicles-", "panels-", "aside-"))
        for each in parts.iterdir()
    )


def _note(parts: Path, key: str, rows: int, number: int) -> None:
    said = {"key": key, "rows": rows, "parts": number}
    write_all({parts / "progress.json": json.dumps(said).encode()})


def _write_part(out: Outputs, number: int, priced: PricedBook) -> None:
    """A part's files, each whole on disk before the note says that they are there."""
    tables = {"vehicles": priced.vehicles}
    if priced.panels is not None and out.panels is not None:
        tables["panels"] = priced.panels
    for kind, table in tables.items():
        with written_beside(_part(out.parts, number, kind)) as file:
            pq.write_table(table, file, compression="zstd")
    write_all({_part(out.parts, number, "aside"): json.dumps(priced.aside).encode()})


def _join(out: Outputs, number: int, pricing: Pricing, again: Mapping[str, Sequence[int]]) -> Done:
    """One file of all parts, each written beside its place and renamed when it is whole.

    Claims that come `again` in a later part are left out of everything but the reasons; what is
    added up is what is written.
    """
    names = pa.array(list(again), pa.string())

    def priced(part: int, kind: str) -> pa.Table:
        table = pq.read_table(_part(out.parts, part, kind))
        if len(names) == 0:
            return table
        return table.filter(pc.invert(pc.is_in(table.column("claim"), value_set=names)))

    sums: dict[str, MatrixSums] = {}
    with written_beside(out.vehicles) as file, _Writer(out.vehicles, file) as write:
        for part in range(number):
            table = priced(part, "vehicles")
            write(table)
            _add_up(sums, table, pricing)
    if out.panels is not None:
        with written_beside(out.panels) as file, _Writer(out.panels, file) as write:
            for part in range(number):
                if _part(out.parts, part, "panels").exists():
                    write(priced(part, "panels"))
    reasons = [several_places(row, claim) for claim, places in again.items() for row in places]
    aside = _join_aside(out, number, sorted(reasons))
    return Done(
        rows=0,
        vehicles=sum(each.vehicles for each in sums.values()),
        incomplete=sum(each.incomplete for each in sums.values()),
        vehicles_aside=aside,
        by_matrix=tuple(sums.values()),
        resumed_at=0,
    )


def _join_aside(out: Outputs, number: int, added: Sequence[Aside]) -> int:
    """The reasons of all parts and those added, by row. Returns of how many vehicles they are.

    A part may have told a reason already: it is told once.
    """
    told = set(added)

    def of_parts() -> Iterator[Aside]:
        for part in range(number):
            kept = json.loads(_part(out.parts, part, "aside").read_bytes())
            yield from (aside for each in kept if (aside := Aside(*each)) not in told)

    reasons = merge(of_parts(), added, key=lambda aside: aside.row)
    vehicles: set[str | int] = set()
    with written_beside(out.aside) as file:
        file.write(csv_text(Aside._fields, []).encode())
        while some := list(islice(reasons, _REASONS)):
            vehicles.update(each.vehicle for each in some)
            _, _, rows = csv_text(Aside._fields, some).partition("\r\n")
            file.write(rows.encode())
    return len(vehicles)


def write_table(table: pa.Table, path: Path) -> None:
    """A table as a Parquet or a CSV file, by its ending. Raises InputError where it cannot be."""
    with written_beside(path) as file, _Writer(path, file) as write:
        write(table)


class _Writer:
    """Writes tables to a Parquet or a CSV file, by its ending."""

    def __init__(self, path: Path, file: BinaryIO) -> None:
        self._csv = path.suffix.lower() == ".csv"
        self._file = file
        self._parquet: pq.ParquetWriter | None = None
        self._first = True

    def __enter__(self) -> Callable[[pa.Table], None]:
        return self._write

    def _write(self, table: pa.Table) -> None:
        if self._csv:
            text = _as_csv(table)
            self._file.write((text if self._first else text.partition("\r\n")[2]).encode())
        else:
            if self._parquet is None:
                self._parquet = pq.ParquetWriter(self._file, table.schema, compression="zstd")
            self._parquet.write_table(table)
        self._first = False

    def __exit__(self, *_: object) -> None:
        if self._parquet is not None:
            self._parquet.close()


def _as_csv(table: pa.Table) -> str:
    """A table as CSV: decimals as they are, texts so that a spreadsheet runs nothing of them."""
    columns = [column.cast(pa.string()).to_pylist() for column in table.columns]
    texts = [pa.types.is_string(column.type) for column in table.columns]
    safe = [
        [cell_text(cell) for cell in column] if text else column
        for column, text in zip(columns, texts, strict=True)
    ]
    out = StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(table.column_names)
    writer.writerows(zip(*safe, strict=True))
    return out.getvalue()


def _add_up(sums: dict[str, MatrixSums], table: pa.Table, pricing: Pricing) -> None:
    """Add a part's vehicles to the sums of their matrices."""
    for each in pricing.matrices:
        name = each.compiled.matrix.name
        part = table.filter(pc.equal(table.column("matrix"), name))
        if part.num_rows == 0:
            continue
        before = sums.get(name)
        decimals = each.compiled.tables.decimals
        added = {column: _sum(part.column(column), decimals) for column in SUMS}
        incomplete = part.num_rows - (pc.sum(part.column("complete")).as_py() or 0)
        if before is not None:
            added = {column: before.sums[column] + amount for column, amount in added.items()}
        sums[name] = MatrixSums(
            matrix=name,
            currency=each.compiled.tables.currency,
            vehicles=part.num_rows + (before.vehicles if before else 0),
            incomplete=incomplete + (before.incomplete if before else 0),
            decimals=decimals,
            sums=added,
        )


def _sum(column: pa.ChunkedArray, decimals: int) -> int:
    total = pc.sum(column.cast(pa.decimal128(38, decimals))).as_py()
    return 0 if total is None else int(total.scaleb(decimals))
