"""The command on whole books: `hailcalc portfolio`."""

from __future__ import annotations

import os
import sys
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Annotated, NamedTuple

import typer

from hailcalc.cli_store import DataOption, kept_in, remark

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from hailcalc.matrix import Matrix
    from hailcalc.portfolio.book import Pricing
    from hailcalc.portfolio.files import Done, PriceParts, Told


def portfolio_commands(app: typer.Typer) -> None:
    """Add the command to the command line."""
    app.command(epilog="Example: hailcalc portfolio book.parquet --matrix copperfin-2026")(
        portfolio
    )


def portfolio(
    file: Annotated[
        Path | None, typer.Argument(metavar="[FILE]", help="A book: Parquet or CSV, a row a panel.")
    ] = None,
    store: Annotated[
        bool, typer.Option("--store", help="The claims of the store instead.")
    ] = False,
    data: DataOption = None,
    storm: Annotated[
        str | None, typer.Option(metavar="NAME", help="Of the store only the claims of this storm.")
    ] = None,
    book: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE", help="Write the store's claims as a book here too, .parquet or .csv."
        ),
    ] = None,
    matrix: Annotated[
        list[str] | None,
        typer.Option(
            metavar="NAME|FILE",
            help="Price every vehicle under it; may be repeated. None: each vehicle's own.",
        ),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Priced vehicles, .parquet or .csv; none: beside here."),
    ] = None,
    panels: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write every panel's sums here as well.")
    ] = None,
    encoding: Annotated[str, typer.Option(help="Of a CSV: utf-8 or latin-1.")] = "utf-8",
    threads: Annotated[
        int, typer.Option(min=0, max=64, help="Threads that price; 0: one a processor.")
    ] = 0,
    batch: Annotated[
        int, typer.Option(min=1, max=10_000_000, help="Rows read, priced and written at a time.")
    ] = 262_144,
    scheduler: Annotated[
        str | None,
        typer.Option(metavar="ADDRESS", help="A Dask scheduler whose workers price the parts."),
    ] = None,
) -> None:
    """Price a whole book: every vehicle, every rule, to the cent as a single claim.

    The store's claims may be kept as a book too, to lay beside a storm.toml.

    Works through the book a part at a time. Stopped, the same command goes on from there. Vehicles
    with mistakes are listed with their rows and reasons in a file beside the result, ending in
    .aside.csv. Exit code 0: priced; 2: a file cannot be used; 3: priced, but some vehicle has no
    full price yet or was set aside.
    """
    from hailcalc.files import matrices_folder, read_matrices
    from hailcalc.intake import matrix_named
    from hailcalc.portfolio.book import prepare
    from hailcalc.portfolio.files import Outputs, price_file, require_apart, source
    from hailcalc.problems import InputError, Problem

    if (file is None) == (not store):
        raise InputError([Problem("portfolio", (), "no book, or two", "a FILE, or --store")])
    _require_store(store, {"--storm": storm, "--book": book})
    if matrix:
        pricing = prepare([matrix_named(name) for name in dict.fromkeys(matrix)])
    else:
        readings = (reading for _, reading in read_matrices(matrices_folder()))
        pricing = prepare({each.matrix.name: each.matrix for each in readings if each.matrix})
    if store and len(matrix or ()) > 1:
        found = f"{len(matrix or ())} matrices for the claims of a store"
        raise InputError([Problem("--matrix", (), found, "one, or none for each claim's own")])
    name = "store" if file is None else file.stem
    vehicles = out or Path(f"{name}-priced.parquet")
    outputs = Outputs(vehicles, panels, vehicles.with_suffix(".aside.csv"))
    if book is not None:
        require_apart(book, outputs, written=True)
    of_store = _OfStore(data, storm, book, [each.compiled.matrix for each in pricing.matrices])
    with _book_file(file, of_store) as place:
        done = price_file(
            source(place, encoding),
            pricing,
            outputs,
            threads=threads or os.cpu_count() or 1,
            rows=batch,
            told=_progress(),
            price_parts=_spread(scheduler, pricing, panels is not None),
        )
    _tell(done, outputs.vehicles, outputs.aside)
    if done.incomplete or done.vehicles_aside:
        raise typer.Exit(3)


def _require_store(store: bool, options: Mapping[str, object]) -> None:
    """Raise InputError for options that are about the store alone."""
    from hailcalc.problems import InputError, Problem

    given = [name for name, value in options.items() if value is not None]
    if given and not store:
        raise InputError(
            [Problem(name, (), "no --store", "it together with --store") for name in given]
        )


class _OfStore(NamedTuple):
    """Which claims of a store, where their book is written if wanted, and matrices for them."""

    data: Path | None
    storm: str | None
    book: Path | None
    matrices: Sequence[Matrix]


@contextmanager
def _book_file(file: Path | None, of: _OfStore) -> Iterator[Path]:
    """The book's file; for the store a passing one, with a remark on each claim left out."""
    if file is not None:
        yield file
        return
    from api.store.books import stored_book
    from hailcalc.portfolio.claims import book_table
    from hailcalc.portfolio.files import write_table

    rows = []
    with kept_in(of.data) as kept, kept.reading() as connection:
        for claim in stored_book(connection, of.matrices, of.storm):
            rows += claim.rows
            for problem in claim.problems:
                remark(f"claim {claim.number} is left out: {problem}")
            if claim.remark:
                remark(f"claim {claim.number}: {claim.remark}")
    table = book_table(rows)
    if of.book is not None:
        write_table(table, of.book)
        remark(f"the store's claims as a book in {of.book}")
    with TemporaryDirectory() as folder:
        place = Path(folder) / "store.parquet"
        write_table(table, place)
        yield place


def _progress() -> Told | None:
    """Says on a terminal how far the book is; nothing where nobody looks."""
    if not sys.stderr.isatty():
        return None

    def told(done: int, rows: int | None) -> None:
        share = f" of {rows:,}, {100 * done // rows} %" if rows else ""
        print(f"\r{done:,} rows{share} ", end="\n" if done == rows else "", file=sys.stderr)
        sys.stderr.flush()

    return told


def _spread(scheduler: str | None, pricing: Pricing, panels: bool) -> PriceParts | None:
    """How parts are priced elsewhere, if a scheduler was named."""
    if scheduler is None:
        return None
    from hailcalc.portfolio.cluster import price_parts_on

    return price_parts_on(scheduler, pricing, panels=panels)


def _tell(done: Done, vehicles: Path, aside: Path) -> None:
    """The sums by matrix, and where everything is."""
    from hailcalc.columns import columns_text, counted
    from hailcalc.money import money_text

    head = ["Matrix", "Vehicles", "Incomplete", "Repair", "Oversize", "Extras", "Removal",
            "Parts", "Other", "Tax", "Total", ""]  # fmt: skip
    table = [head]
    for each in done.by_matrix:
        sums = each.sums
        parts = sums["fastener"] + sums["part"]
        other = sums["sublet"] + sums["refinish"] + sums["body_work"] + sums["minimum"]
        amounts = (sums["repair"], sums["oversize"], sums["extra"], sums["removal"], parts, other,
                   sums["tax"], sums["total"])  # fmt: skip
        table.append(
            [
                each.matrix,
                f"{each.vehicles}",
                f"{each.incomplete}",
                *(money_text(amount, each.decimals) for amount in amounts),
                each.currency,
            ]
        )
    print(columns_text(table, right=range(1, 11)), end="")
    if done.resumed_at:
        remark(f"went on after row {done.resumed_at:,}, which an earlier run had reached")
    remark(f"{counted(done.rows, 'row')}; priced vehicles in {vehicles}")
    if done.vehicles_aside:
        how_many = counted(done.vehicles_aside, "vehicle")
        remark(f"{how_many} set aside, with rows and reasons in {aside}")
