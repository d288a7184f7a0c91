"""A storm from its folder: `storm.toml`, the book beside it, priced."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from fractions import Fraction
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from hailcalc.files import matrices_folder, matrix_by_name, read_matrices, read_text
from hailcalc.problems import InputError, Problem
from hailcalc.reading import MAX_PROBLEMS
from hailcalc.storm.economics import StormFigures, economics
from hailcalc.storm.model import Storm, read_storm

RATE = r"^[A-Z]{3}=[0-9]{1,9}(\.[0-9]{1,9})?$"
"""A rate as it is given: what one unit of a currency is worth."""

if TYPE_CHECKING:
    import pyarrow as pa

    from hailcalc.matrix import Matrix
    from hailcalc.portfolio import PricedBook
    from hailcalc.storm.lot import Lot
    from hailcalc.storm.whatif import Change


class StormFolder(NamedTuple):
    """A storm and its book, not priced yet."""

    path: Path
    storm: Storm
    book: pa.Table


def open_storm(path: Path) -> StormFolder:
    """Read a storm's folder, or its storm.toml. Raises InputError with what is wrong in it."""
    from hailcalc.portfolio.files import read_book

    file = path if path.suffix == ".toml" else path / "storm.toml"
    storm = read_storm(read_text(file), str(file), file.resolve().parent.name)
    return StormFolder(file.parent, storm, read_book(file.parent / storm.storm.book))


def priced_book(
    folder: StormFolder, matrix: str | None = None, matrices: Path | None = None
) -> PricedBook:
    """Price a storm's book: under `matrix`, the storm's own, or each vehicle's own.

    Matrices are looked up in the folder `matrices`; in the usual one if it is not given. Raises
    InputError if the course of its claims cannot be as the book says; under another `matrix` than
    theirs what was taken off may well be more than what is charged.
    """
    from hailcalc.portfolio import price_book
    from hailcalc.storm.course import course_problems

    name = matrix or folder.storm.storm.matrix
    where = matrices or matrices_folder()
    wanted: Matrix | Mapping[str, Matrix]
    if name is not None:
        wanted = matrix_by_name(name, where)
    else:
        readings = (reading for _, reading in read_matrices(where))
        wanted = {each.matrix.name: each.matrix for each in readings if each.matrix is not None}
        wanted = _named_in(folder.book, wanted)
    file = str(folder.path / folder.storm.storm.book)
    priced = price_book(folder.book, wanted, file=file)
    course = course_problems(priced.vehicles, file, folder.storm.storm.date)
    problems = list(islice(course, MAX_PROBLEMS)) if matrix is None else []
    if problems:
        raise InputError(problems)
    return priced


def _named_in(book: pa.Table, matrices: Mapping[str, Matrix]) -> Mapping[str, Matrix]:
    """The matrices that a book names, if it names one for every vehicle: fewer to make ready."""
    if "matrix" not in book.column_names:
        return matrices
    names = set(book.column("matrix").unique().to_pylist())
    return (
        {name: matrices[name] for name in sorted(names)}
        if names and names <= set(matrices)
        else matrices
    )


def figures_of(
    folder: StormFolder,
    priced: PricedBook | None = None,
    *,
    storm: Storm | None = None,
    as_of: date | None = None,
) -> StormFigures:
    """A storm's figures, from its book priced as it is unless another pricing is given."""
    from hailcalc.portfolio.frames import in_minor_units

    of = storm or folder.storm
    found = priced or priced_book(folder)
    panels = None if found.panels is None else in_minor_units(found.panels, of.decimals)
    vehicles = in_minor_units(found.vehicles, of.decimals)
    return economics(of, vehicles, panels, aside=found.vehicles_aside, as_of=as_of)


def after_change(folder: StormFolder, change: Change) -> StormFigures:
    """A storm's figures under a change of `whatif`, over its own vehicles."""
    return figures_of(folder, priced_book(folder, change.matrix), storm=change.storm)


def lot_in(path: Path) -> Lot:
    """A storm's folder as a forecast wants it."""
    from hailcalc.portfolio.frames import in_minor_units
    from hailcalc.storm.lot import Lot

    folder = open_storm(path)
    priced = priced_book(folder)
    return Lot(
        title=folder.storm.storm.title,
        first_day=folder.storm.storm.first_day,
        hours_a_day=Fraction(folder.storm.storm.hours_a_day),
        technicians=folder.storm.crew.technicians,
        vehicles=in_minor_units(priced.vehicles, folder.storm.decimals),
        aside=priced.vehicles_aside,
    )


def rates_of(texts: list[str]) -> dict[str, Fraction]:
    """Rates from CODE=FIGURE. Raises InputError with every one that is none."""
    import re

    problems = []
    rates: dict[str, Fraction] = {}
    for text in texts:
        code, _, figure = text.partition("=")
        if not re.fullmatch(RATE, text, re.ASCII) or Fraction(figure) == 0:
            problems.append(Problem("--rate", (), f'"{text}"', "a rate such as EUR=1.085"))
        elif code in rates:
            problems.append(Problem("--rate", (), f"{code} twice", "one rate for a currency"))
        else:
            rates[code] = Fraction(figure)
    if problems:
        raise InputError(problems)
    return rates
