"""What the shape of a matrix file cannot say, checked.

Bands without gap or overlap, rows of full width, cells that never fall as the count or
the size grows, size steps that never fall under `layers`, panels in one grid, extras of
one kind, operations without a cycle, figures within the currency's decimals. Each check
looks at the parts it needs and says the table, the row and the column.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction
from typing import Any, NamedTuple

from hailcalc.cautions import CAUTIONS
from hailcalc.matrix.model import (
    Bands,
    Extra,
    Grid,
    Matrix,
    MatrixHeader,
    Operation,
    Oversize,
    Rates,
    Tax,
    coin_set,
)
from hailcalc.money import currency_decimals, decimals_of, money_text, rounded
from hailcalc.problems import Place, Problem, shown
from hailcalc.reading import check
from hailcalc.vehicle import PANELS_OF_BODY


class MatrixParts(NamedTuple):
    """The sound parts of a matrix file, lists with their positions."""

    header: MatrixHeader | None
    rates: Rates | None
    grids: tuple[tuple[int, Grid], ...]
    oversize: Oversize | None
    extras: tuple[tuple[int, Extra], ...]
    removal: tuple[tuple[int, Operation], ...]
    tax: Tax | None
    whole: bool
    """Whether nothing is missing, so that a name not found is really unknown."""
    bands: tuple[tuple[int, Bands], ...] = ()
    """Bands of grids that are not sound as a whole."""

    @classmethod
    def of(cls, matrix: Matrix) -> MatrixParts:
        """All parts of a whole matrix."""
        return cls(
            matrix.matrix,
            matrix.rates,
            tuple(enumerate(matrix.grid)),
            matrix.oversize,
            tuple(enumerate(matrix.extra)),
            tuple(enumerate(matrix.removal)),
            matrix.tax,
            True,
        )

    @classmethod
    def of_sound(cls, sound: dict[str, Any], data: Any) -> MatrixParts:
        """The parts that `hailcalc.reading.sound_parts` found in the file's `data`."""
        grids = tuple(sound.get("grid", ()))
        return cls(
            sound.get("matrix"),
            sound.get("rates"),
            grids,
            sound.get("oversize"),
            tuple(sound.get("extra", ())),
            tuple(sound.get("removal", ())),
            sound.get("tax"),
            False,
            tuple(_bands_alone(data, {position for position, _ in grids})),
        )


def _bands_alone(data: Any, sound: set[int]) -> Iterator[tuple[int, Bands]]:
    """The bands of grids that have a mistake elsewhere, a bad cell say."""
    tables = data.get("grid") if isinstance(data, dict) else None
    for position, table in enumerate(tables if isinstance(tables, list) else ()):
        if position not in sound and isinstance(table, dict):
            bands, _ = check(Bands, {key: table.get(key) for key in ("bands", "last")}, "")
            if bands is not None:
                yield position, bands


def matrix_problems(parts: MatrixParts, file: str) -> Iterator[Problem]:
    """Every mistake in the sound parts of a matrix file."""
    header = parts.header
    if header is not None:
        yield from _header_problems(header, file)
    yield from _panel_problems(parts.grids, file)
    for position, bands in parts.bands:
        yield from _band_problems(("grid", position), bands, file)
    for position, grid in parts.grids:
        yield from _grid_problems(position, grid, header, file)
    yield from _repeated(("extra", "id"), ((i, extra.id) for i, extra in parts.extras), file)
    for position, extra in parts.extras:
        yield from _extra_problems(("extra", position), extra, file)
    yield from _repeated(("removal", "id"), ((i, op.id) for i, op in parts.removal), file)
    yield from _removal_problems(parts, file)
    decimals = currency_decimals(header.currency) if header else None
    if header is not None and decimals is not None:
        for place, text in _money_figures(parts, header):
            if decimals_of(text) > decimals:
                yield Problem(
                    file,
                    place,
                    f'"{text}"',
                    f"at most {decimals} decimals, as {header.currency} has",
                )


def _money_figures(parts: MatrixParts, header: MatrixHeader) -> Iterator[tuple[Place, str]]:
    yield ("matrix", "minimum"), header.minimum
    if parts.rates is not None:
        yield ("rates", "repair"), parts.rates.repair
        yield ("rates", "removal"), parts.rates.removal
    for position, extra in parts.extras:
        if extra.money is not None:
            yield ("extra", position, "money"), extra.money
    for position, operation in parts.removal:
        if operation.fastener_price is not None:
            yield ("removal", position, "fastener_price"), operation.fastener_price
    if header.cells == "money":
        for position, grid in parts.grids:
            for row, cells in enumerate(grid.rows):
                for column, cell in enumerate(cells):
                    yield ("grid", position, "rows", row, column), str(cell)


def _header_problems(header: MatrixHeader, file: str) -> Iterator[Problem]:
    from babel import Locale, UnknownLocaleError

    if currency_decimals(header.currency) is None:
        yield Problem(
            file,
            ("matrix", "currency"),
            shown(header.currency),
            "an ISO 4217 currency code such as USD",
        )
    try:
        Locale.parse(header.locale)
    except (ValueError, TypeError, UnknownLocaleError):
        yield Problem(
            file, ("matrix", "locale"), shown(header.locale), "a locale such as en_US or de_DE"
        )
    if header.until is not None and header.until < header.effective:
        yield Problem(
            file,
            ("matrix", "until"),
            str(header.until),
            f"{header.effective}, the first day, or later",
        )
    coins = coin_set(header)
    if not isinstance(header.coins, str):
        yield from _own_coin_problems(header, file)
    order = {coin.name: position for position, coin in enumerate(coins)}
    before: str | None = None
    for column, name in enumerate(header.columns):
        place: Place = ("matrix", "columns", column)
        if name not in order:
            yield Problem(file, place, f'"{name}"', "one of the coins " + ", ".join(order))
            continue
        if before is not None and order[name] <= order[before]:
            yield Problem(
                file,
                place,
                f'"{name}" after "{before}"',
                "columns by ascending diameter, each once",
            )
        before = name


def _own_coin_problems(header: MatrixHeader, file: str) -> Iterator[Problem]:
    assert not isinstance(header.coins, str)
    place = ("matrix", "coins", "name")
    yield from _repeated(place, ((i, coin.name) for i, coin in enumerate(header.coins)), file)
    sizes: dict[Fraction, str] = {}
    for position, coin in enumerate(header.coins):
        size = Fraction(coin.mm)
        if size in sizes or not 0 < size <= 500:
            yield Problem(
                file,
                ("matrix", "coins", position, "mm"),
                f'"{coin.mm}"',
                "a diameter of its own, more than 0 and at most 500 mm",
            )
        sizes[size] = coin.name


def _repeated(
    place: tuple[str, ...], names: Iterable[tuple[int, str]], file: str
) -> Iterator[Problem]:
    *tables, key = place
    seen: dict[str, int] = {}
    for position, name in names:
        if name in seen:
            yield Problem(
                file,
                (*tables, position, key),
                f'"{name}" again',
                f"a name of its own; {tables[-1]}[{seen[name]}] has it",
            )
        seen.setdefault(name, position)


def _panel_problems(grids: Sequence[tuple[int, Grid]], file: str) -> Iterator[Problem]:
    yield from _repeated(("grid", "name"), ((i, grid.name) for i, grid in grids), file)
    owner: dict[str, str] = {}
    for position, grid in grids:
        for index, panel in enumerate(grid.panels):
            if panel in owner:
                yield Problem(
                    file,
                    ("grid", position, "panels", index),
                    f'"{panel}" again',
                    f'each panel in one grid; "{owner[panel]}" has it',
                )
            owner.setdefault(panel, grid.name)


def _grid_problems(
    position: int, grid: Grid, header: MatrixHeader | None, file: str
) -> Iterator[Problem]:
    where: Place = ("grid", position)
    yield from _band_problems(where, grid, file)
    if len(grid.rows) != len(grid.bands):
        yield Problem(
            file, (*where, "rows"), f"{len(grid.rows)} rows", f"{len(grid.bands)} rows, one a band"
        )
    columns = header.columns if header else None
    width = len(columns) if columns else len(grid.rows[0])
    ragged = False
    for row, cells in enumerate(grid.rows):
        if len(cells) != width:
            ragged = True
            yield Problem(
                file,
                (*where, "rows", row),
                f"{len(cells)} cells ({_row(grid, row)})",
                f"{width} cells, one a column",
            )
    if not ragged:
        names = columns or tuple(f"column {k + 1}" for k in range(width))
        yield from _falling_cells(where, grid, names, file)
        if header is not None and header.mixed == "layers":
            yield from _falling_steps(where, grid, names, file)


def _band_problems(where: Place, grid: Bands, file: str) -> Iterator[Problem]:
    if grid.bands[0] != 1:
        yield Problem(
            file,
            (*where, "bands", 0),
            str(grid.bands[0]),
            f"1: counts 1 to {grid.bands[0] - 1} are in no band",
        )
    for index in range(1, len(grid.bands)):
        low, high = grid.bands[index - 1], grid.bands[index]
        if high <= low:
            yield Problem(
                file,
                (*where, "bands", index),
                f"{high} after {low}",
                f"more than {low}: bands ascend and do not overlap",
            )
    if grid.last < grid.bands[-1]:
        yield Problem(
            file,
            (*where, "last"),
            str(grid.last),
            f"{grid.bands[-1]} (where the last band begins) or more",
        )


def _row(grid: Grid, row: int) -> str:
    """A row in words: band 7–11."""
    if row >= len(grid.bands):
        return f"row {row + 1}"
    low = grid.bands[row]
    high = grid.bands[row + 1] - 1 if row + 1 < len(grid.bands) else grid.last
    return f"band {low}" if high <= low else f"band {low}–{high}"


def _falling_cells(where: Place, grid: Grid, names: Sequence[str], file: str) -> Iterator[Problem]:
    values = [[Fraction(cell) for cell in cells] for cells in grid.rows]
    for row, cells in enumerate(grid.rows):
        for column, cell in enumerate(cells):
            place: Place = (*where, "rows", row, column)
            found = f"{cell} ({_row(grid, row)}, {names[column]})"
            if row and values[row][column] < values[row - 1][column]:
                yield Problem(
                    file,
                    place,
                    found,
                    f"{grid.rows[row - 1][column]} or more, the cell of the smaller count",
                )
            if column and values[row][column] < values[row][column - 1]:
                yield Problem(
                    file, place, found, f"{cells[column - 1]} or more, the cell of the smaller size"
                )


def _falling_steps(where: Place, grid: Grid, names: Sequence[str], file: str) -> Iterator[Problem]:
    values = [[Fraction(cell) for cell in cells] for cells in grid.rows]
    for row in range(1, len(values)):
        for column in range(1, len(names)):
            step = values[row][column] - values[row][column - 1]
            before = values[row - 1][column] - values[row - 1][column - 1]
            if step < before:
                yield Problem(
                    file,
                    (*where, "rows", row, column),
                    f"a step of {_plain(step)} from {names[column - 1]} to {names[column]} "
                    f"({_row(grid, row)})",
                    f"{_plain(before)} or more, the step of the smaller count, "
                    'since mixed = "layers"',
                )


def _plain(value: Fraction) -> str:
    text = money_text(rounded(value * 10**4), 4)
    return text.rstrip("0").rstrip(".")


def _extra_problems(where: Place, extra: Extra, file: str) -> Iterator[Problem]:
    given = [key for key in ("percent", "minutes", "money") if getattr(extra, key) is not None]
    if len(given) != 1:
        yield Problem(
            file,
            where,
            " and ".join(given) or "no amount",
            "exactly one of percent, minutes, money",
        )
    if extra.per is not None and (extra.percent is not None or extra.of == "vehicle"):
        yield Problem(
            file, (*where, "per"), f'"{extra.per}"', "no `per` with a percentage or a vehicle extra"
        )
    if extra.percent is not None and extra.percent.startswith("-") and extra.of != "vehicle":
        yield Problem(
            file, (*where, "percent"), f'"{extra.percent}"', 'zero or more, unless of = "vehicle"'
        )
    if extra.of == "vehicle":
        for key in ("metal", "access", "repainted", "mark", "panel"):
            if getattr(extra.when, key) is not None:
                yield Problem(
                    file,
                    (*where, "when", key),
                    "a condition on a panel",
                    'only `body`, since of = "vehicle"',
                )


def _removal_problems(parts: MatrixParts, file: str) -> Iterator[Problem]:
    ids = {operation.id for _, operation in parts.removal}
    needed = {name for _, operation in parts.removal for name in operation.after}
    for position, operation in parts.removal:
        where: Place = ("removal", position)
        yield from _caution_problems(operation, where, file)
        yield from _body_problems(operation, where, file)
        if not operation.opens and operation.id not in needed and parts.whole:
            yield Problem(
                file,
                (*where, "opens"),
                f'nothing for "{operation.id}"',
                "a panel that it opens, or another operation that needs it",
            )
        for index, name in enumerate(operation.after):
            if name not in ids and parts.whole:
                yield Problem(
                    file,
                    (*where, "after", index),
                    f'"{name}"',
                    "the id of an operation in this file",
                )
    cycle = _cycle({op.id: [name for name in op.after if name in ids] for _, op in parts.removal})
    if cycle:
        yield Problem(
            file,
            ("removal",),
            "a cycle in `after`: " + " → ".join(cycle),
            "an order in which things can come off",
        )


def _caution_problems(operation: Operation, where: Place, file: str) -> Iterator[Problem]:
    alone = isinstance(operation.caution, str)
    for index, key in enumerate(operation.cautions):
        place: Place = (*where, "caution") if alone else (*where, "caution", index)
        if key not in CAUTIONS:
            yield Problem(file, place, shown(key), "one of " + ", ".join(CAUTIONS))
        elif key in operation.cautions[:index]:
            yield Problem(file, place, f'"{key}" again', "each caution once")


def _body_problems(operation: Operation, where: Place, file: str) -> Iterator[Problem]:
    """An operation of some bodies opens panels that these have, and each has one of them."""
    if operation.body is None:
        return
    bodies = ", ".join(operation.body)
    for index, panel in enumerate(operation.opens):
        if not any(panel in PANELS_OF_BODY[body] for body in operation.body):
            expected = f"a panel of one of its bodies ({bodies})"
            yield Problem(file, (*where, "opens", index), f'"{panel}"', expected)
    for index, body in enumerate(operation.body):
        if operation.opens and PANELS_OF_BODY[body].isdisjoint(operation.opens):
            found = f'"{body}", which has none of {", ".join(operation.opens)}'
            yield Problem(file, (*where, "body", index), found, "bodies with a panel that it opens")


def _cycle(after: dict[str, list[str]]) -> list[str] | None:
    """Operations that need each other in a ring, the first repeated at the end; None if none do."""
    from graphlib import CycleError, TopologicalSorter

    try:
        TopologicalSorter(after).prepare()
    except CycleError as error:
        ring: list[str] = error.args[1]
        return ring[::-1]
    return None
