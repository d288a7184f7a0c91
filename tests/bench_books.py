"""How fast whole books are priced: against other engines, against reading, and as they grow.

    python tests/bench_books.py [--vehicles 1000000] [--plot demo/pictures/book-scaling.svg]

Run by `make bench`. Everything is measured in one run on the same arrays. Polars and DuckDB do the
base prices alone, each written as its users would: joins with the matrix's cells by grid, size and
count. They take every processor; ours are told for one thread and for all.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import subprocess
import sys
import tempfile
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from functools import partial, reduce
from pathlib import Path
from time import perf_counter
from typing import Any, NamedTuple

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from hailcalc.estimate import compile_matrix
from hailcalc.files import load_matrix
from hailcalc.portfolio.kernel import base_loop
from hailcalc.portfolio.pricing import CHUNK, base_amounts, price_rows
from hailcalc.portfolio.rows import Rows
from hailcalc.portfolio.tabulated import TabulatedMatrix, tabulate
from hailcalc.vehicle import PANELS
from tests.bench import best_of
from tests.books import arrays_of, random_rows, table_of

ROOT = Path(__file__).parent.parent
MATRIX = ROOT / "matrices" / "copperfin-2026.toml"
COINS = ("dime", "nickel", "quarter", "half-dollar")
PANELS_EACH = 12
SIZES = (10_000, 100_000, 1_000_000, 10_000_000, 12_000_000)
# The plot: size of a pane and its margins in pixels, and the powers of ten across.
WIDTH, HEIGHT, LEFT, BOTTOM, TOP = 360, 250, 56, 40, 34
LOW, HIGH = 4, 7


def row(what: str, figure: float, unit: str, aim: str = "") -> None:
    print(f"{what:<46}{figure:>9.2f} {unit:<44}{aim}", flush=True)


def within(rows: Rows, matrix: TabulatedMatrix) -> Rows:
    """The panels whose dents the grids hold, counts alone: what base prices need."""
    total = reduce(np.add, (count.astype(np.int64) for count in rows.counts))
    fits = total <= matrix.last[rows.panel]
    counts = tuple(np.where(fits, count, 1).astype(np.int16) for count in rows.counts)
    return rows._replace(counts=counts)


def our_base(rows: Rows, matrix: TabulatedMatrix, threads: int = 1, fast: bool = False) -> Any:
    """Base prices in chunks that stay in the cache."""
    tables = matrix.compiled.tables
    loop = base_loop(tables.mixed, len(COINS), matrix.denominator) if fast else None
    amounts = np.empty(rows.panels, np.int64)
    due = np.ones(rows.panels, np.bool_)

    def chunk(part: slice) -> None:
        counts = tuple(count[part] for count in rows.counts)
        if loop is not None:
            loop(rows.panel[part], matrix.start, counts, due[part], matrix.stacked, amounts[part])
        else:
            wide = [count.astype(np.int64) for count in counts]
            amounts[part] = base_amounts(rows.panel[part], wide, matrix)

    size = CHUNK if loop is None else rows.panels // threads + 1
    parts = [slice(start, start + size) for start in range(0, rows.panels, size)]
    with ThreadPoolExecutor(threads) as pool:
        list(pool.map(chunk, parts))
    return amounts


def cells(matrix: TabulatedMatrix) -> pa.Table:
    """The matrix as a table for other engines: what a step to a size adds, by panel and count."""
    tables = matrix.compiled.tables
    found: dict[str, list[int]] = {"panel": [], "column": [], "n": [], "step": []}
    for at, panel in enumerate(PANELS):
        grid = tables.grids[tables.grid_of[panel]]
        for n, values in enumerate(grid.values):
            for column, value in enumerate(values):
                found["panel"].append(at)
                found["column"].append(column)
                found["n"].append(n)
                found["step"].append(value - (values[column - 1] if column else 0))
    return pa.table(
        {
            "panel": pa.array(found["panel"], pa.int8()),
            "column": pa.array(found["column"], pa.int8()),
            "n": pa.array(found["n"], pa.int16()),
            "step": pa.array(found["step"], pa.int64()),
        }
    )


def polars_base(book: pa.Table, steps: pa.Table, matrix: TabulatedMatrix) -> Callable[[], Any]:
    import polars as pl

    frame, lookup = pl.from_arrow(book), pl.from_arrow(steps)
    assert isinstance(frame, pl.DataFrame)
    assert isinstance(lookup, pl.DataFrame)
    tables = matrix.compiled.tables

    def run() -> Any:
        lazy = frame.lazy().with_columns(
            pl.sum_horizontal(COINS[column:]).cast(pl.Int16).alias(f"n{column}")
            for column in range(len(COINS))
        )
        for column in range(len(COINS)):
            of_size = lookup.lazy().filter(pl.col("column") == column)
            lazy = lazy.join(
                of_size.select("panel", n=pl.col("n"), s=pl.col("step")).rename(
                    {"n": f"n{column}", "s": f"s{column}"}
                ),
                on=["panel", f"n{column}"],
                how="left",
                maintain_order="left",
            )
        minutes = pl.sum_horizontal([f"s{column}" for column in range(len(COINS))])
        rate, sixty = tables.base_numerator, tables.base_denominator
        return lazy.select(((2 * minutes * rate + sixty) // (2 * sixty)).alias("base")).collect()

    return run


def duckdb_base(book: pa.Table, steps: pa.Table, matrix: TabulatedMatrix) -> Callable[[], Any]:
    import duckdb

    connection: Any = duckdb.connect()
    connection.register("given", book)
    connection.execute("create table book as select *, row_number() over () as place from given")
    connection.register("given_steps", steps)
    connection.execute("create table steps as select * from given_steps")
    tables = matrix.compiled.tables
    quoted = [f'"{coin}"' for coin in COINS]
    joins = " ".join(
        f'join steps s{k} on s{k}.panel = b.panel and s{k}."column" = {k} '
        f"and s{k}.n = {' + '.join(quoted[k:])}"
        for k in range(len(COINS))
    )
    minutes = " + ".join(f"s{k}.step" for k in range(len(COINS)))
    rate, sixty = tables.base_numerator, tables.base_denominator
    query = (
        f"select place, (2 * ({minutes}) * {rate} + {sixty}) // (2 * {sixty}) as base "
        f"from book b {joins}"
    )

    def run() -> Any:
        return connection.sql(query).to_arrow_table()

    return run


def engines(rows: Rows, matrix: TabulatedMatrix) -> None:
    """Base prices alone, ours and theirs, equal to the cent."""
    sound = within(rows, matrix)
    book = pa.table(
        {"panel": pa.array(sound.panel)}
        | {coin: pa.array(count) for coin, count in zip(COINS, sound.counts, strict=True)}
    )
    steps = cells(matrix)
    polars, duckdb = polars_base(book, steps, matrix), duckdb_base(book, steps, matrix)
    ours = our_base(sound, matrix)
    assert (polars()["base"].to_numpy() == ours).all()
    theirs = duckdb()
    order = np.argsort(theirs.column("place").to_numpy())
    assert (theirs.column("base").to_numpy()[order] == ours).all()
    assert (our_base(sound, matrix, fast=True) == ours).all()
    threads = os.cpu_count() or 1
    numpy, loop, loops, first, second = best_of(
        4,
        lambda: our_base(sound, matrix),
        lambda: our_base(sound, matrix, fast=True),
        lambda: our_base(sound, matrix, threads, fast=True),
        polars,
        duckdb,
    )
    row(f"base prices of {rows.panels / 1e6:.0f} M panels, numpy, one thread", numpy, "s")
    row("  compiled loop (numba), one thread", loop, "s")
    row("  compiled loop, all processors", loops, "s")
    row("  Polars, all processors", first, "s")
    row("  DuckDB, all processors", second, "s")
    row("  the faster of them against numpy", min(first, second) / numpy, "×", "≥ 10")
    row("  against the loop on one thread", min(first, second) / loop, "×", "≥ 10")
    row("  against the loop on all processors", min(first, second) / loops, "×", "≥ 10")


def all_rules(rows: Rows, matrix: TabulatedMatrix) -> None:
    """Every rule, against reading the input arrays once."""
    columns = arrays_of(rows)
    price_rows(rows, matrix, panels=False, fast=True)
    read, numpy, loop = best_of(
        3,
        lambda: [column.sum() for column in columns],
        lambda: price_rows(rows, matrix, panels=False),
        lambda: price_rows(rows, matrix, panels=False, fast=True),
    )
    row("reading all input arrays once, numpy's sums", read, "s")
    row("all rules, numpy, one thread", numpy, "s")
    row("  against reading", numpy / read, "×", "≤ 15")
    row("all rules, compiled loop for the base", loop, "s")
    row("  against reading", loop / read, "×", "≤ 15")


class Run(NamedTuple):
    """A book priced by the command: panels, seconds, peak megabytes."""

    panels: int
    seconds: float
    megabytes: float


def written(folder: Path, panels: int) -> Path:
    """A book of so many panels as Parquet, made and written in pieces."""
    path = folder / f"book-{panels}.parquet"
    writer = None
    step, vehicles = 40_000, panels // PANELS_EACH
    for start in range(0, vehicles, step):
        piece = table_of(
            random_rows(min(step, vehicles - start), PANELS_EACH, len(COINS), seed=start), COINS
        )
        names = pa.compute.binary_join_element_wise(
            pa.scalar(f"{start}"), piece.column("claim"), "-"
        )
        piece = piece.set_column(0, "claim", names)
        if writer is None:
            writer = pq.ParquetWriter(path, piece.schema, compression="zstd")
        writer.write_table(piece)
    assert writer is not None
    writer.close()
    return path


def priced(book: Path, out: Path) -> Run:
    """Price a book by the command, as a process of its own."""
    command = [sys.executable, "-m", "hailcalc", "portfolio", str(book), "--matrix", str(MATRIX),
               "--out", str(out)]  # fmt: skip
    start = perf_counter()
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    peak = 0
    while process.poll() is None:
        peak = max(peak, _peak_kilobytes(process.pid))
        with contextlib.suppress(subprocess.TimeoutExpired):
            process.wait(0.02)
    seconds = perf_counter() - start
    assert process.returncode in (0, 3)
    panels = pq.ParquetFile(book).metadata.num_rows
    return Run(panels, seconds, peak / 1024)


def _peak_kilobytes(process: int) -> int:
    """The most memory that a process has had so far (what the system counts for its children would
    begin with ours)."""
    with contextlib.suppress(OSError, ValueError):
        for line in Path(f"/proc/{process}/status").read_text().splitlines():
            if line.startswith("VmHWM:"):
                return int(line.split()[1])
    return 0


def growing(plot: Path | None, sizes: Sequence[int]) -> None:
    """Time and memory from Parquet to Parquet as books grow."""
    runs = []
    with tempfile.TemporaryDirectory() as folder:
        for size in sizes:
            book = written(Path(folder), size)
            run = priced(book, Path(folder) / "out.parquet")
            runs.append(run)
            row(f"Parquet to Parquet, {run.panels:,} panels", run.seconds, "s")
            row("  peak memory", run.megabytes, "MB")
            book.unlink()
    if plot is not None:
        plot.write_text(scaling_svg([run for run in runs if run.panels <= 10**HIGH]))
        print(f"plotted in {plot}")


def scaling_svg(runs: Sequence[Run]) -> str:
    """Seconds and megabytes against panels, both axes by powers of ten, as a plain SVG."""
    width, height, left, low, high = WIDTH, HEIGHT, LEFT, LOW, HIGH
    panes = [
        ("Seconds", [run.seconds for run in runs], 0, 3),
        ("Peak memory, MB", [run.megabytes for run in runs], 1, 4),
    ]
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {2 * width} {height}" role="img" '
        'font-family="sans-serif" font-size="12"><title>Time and memory against the size of a book'
        "</title>",
        f'<rect width="{2 * width}" height="{height}" fill="#fff"/>',
    ]
    for pane, (label, values, floor, ceiling) in enumerate(panes):
        x0 = pane * width + left

        at = partial(_place, x0=x0, floor=floor, ceiling=ceiling)
        parts.append(f'<text x="{x0}" y="18" font-weight="bold">{label}</text>')
        for power in range(floor, ceiling + 1):
            _, y = at(10**low, 10**power)
            parts.append(
                f'<path d="M{x0} {y}H{(pane + 1) * width - 24}" stroke="#ccc"/>'
                f'<text x="{x0 - 6}" y="{y + 4}" text-anchor="end">{10**power:,}</text>'
            )
        for power in range(low, high + 1):
            x, _ = at(10**power, 1)
            parts.append(f'<text x="{x}" y="{height - 20}" text-anchor="middle">10^{power}</text>')
        parts.append(f'<text x="{x0}" y="{height - 4}">panels in the book</text>')
        points = [at(run.panels, value) for run, value in zip(runs, values, strict=True)]
        line = " ".join(f"{x},{y}" for x, y in points)
        parts.append(f'<polyline points="{line}" fill="none" stroke="#1d4e79" stroke-width="2"/>')
        for (x, y), value in zip(points, values, strict=True):
            parts.append(
                f'<circle cx="{x}" cy="{y}" r="3.5" fill="#1d4e79"/>'
                f'<text x="{x}" y="{y - 8}" text-anchor="middle">{value:,.0f}</text>'
                if value >= 10
                else f'<circle cx="{x}" cy="{y}" r="3.5" fill="#1d4e79"/>'
                f'<text x="{x}" y="{y - 8}" text-anchor="middle">{value:.1f}</text>'
            )
    return "\n".join([*parts, "</svg>", ""])


def _place(
    panels: float, value: float, *, x0: int, floor: int, ceiling: int
) -> tuple[float, float]:
    """Where a point lies in a pane that begins at x0, powers of ten on both axes."""
    across = (np.log10(panels) - LOW) / (HIGH - LOW) * (WIDTH - LEFT - 24)
    up = (np.log10(max(value, 10**floor)) - floor) / (ceiling - floor)
    return round(x0 + across, 1), round(HEIGHT - BOTTOM - up * (HEIGHT - BOTTOM - TOP), 1)


def books(
    vehicles: int = 1_000_000, plot: Path | None = None, sizes: Sequence[int] = SIZES
) -> None:
    """Measure and print."""
    matrix = tabulate(compile_matrix(load_matrix(MATRIX)))
    rows = random_rows(vehicles, PANELS_EACH, len(COINS), seed=20260519)
    engines(rows, matrix)
    all_rules(rows, matrix)
    del rows
    growing(plot, sizes)


if __name__ == "__main__":
    asked = argparse.ArgumentParser()
    asked.add_argument("--vehicles", type=int, default=1_000_000)
    asked.add_argument("--plot", type=Path)
    asked.add_argument("--most", type=int, default=SIZES[-1])
    given = asked.parse_args()
    books(given.vehicles, given.plot, [size for size in SIZES if size <= given.most])
