"""The shape of a matrix file (TOML), and reading one.

Money and percentages are decimal strings, cells whole numbers or decimal strings,
minutes are minutes, coin diameters millimetres. See the README for a whole file with
every key explained, and `hailcalc schema matrix` for the JSON Schema of the same shape.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal, NamedTuple

from pydantic import Discriminator, Field, Tag

from hailcalc.claimfile import Mark, Metal
from hailcalc.coins import COIN_SETS, Coin
from hailcalc.fields import Cell, Day, FileModel, Flag, Name, Signed, Text, Title, Unsigned
from hailcalc.problems import InputError, Problem
from hailcalc.reading import check, load_toml, sound_parts
from hailcalc.vehicle import Body, Equipment, Panel

Mixed = Literal["layers", "share", "largest", "most", "each"]
Band = Annotated[int, Field(strict=True, ge=1, le=5000)]
CoinName = Annotated[str, Field(min_length=1, max_length=30, pattern=r"^[^\p{C}\p{Zl}\p{Zp}]*$")]


class OwnCoin(FileModel):
    """A coin of the shop's own set: name, diameter in mm, and where the figure comes from."""

    name: CoinName
    mm: Unsigned
    source: Title


def _coins_kind(value: Any) -> str:
    return "set" if isinstance(value, str) else "own"


Coins = Annotated[
    Annotated[Literal["us", "eu", "uk"], Tag("set")]
    | Annotated[tuple[OwnCoin, ...], Field(min_length=1, max_length=30), Tag("own")],
    Discriminator(_coins_kind),
]


class MatrixHeader(FileModel):
    """[matrix]: what it is called, for whom and when it holds, and how its cells are read."""

    name: Name
    title: Text = ""
    revision: Annotated[int, Field(strict=True, ge=1, le=100000)] = 1
    insurer: Title | None = None
    currency: Annotated[str, Field(min_length=3, max_length=3)]
    locale: Annotated[str, Field(max_length=30)] = "en_US"
    effective: Day
    until: Day | None = None
    coins: Coins = "us"
    columns: Annotated[tuple[CoinName, ...], Field(min_length=1, max_length=20)]
    cells: Literal["minutes", "money"]
    mixed: Mixed = "layers"
    within_band: Literal["flat", "ramp"]
    stacking: Literal["add", "compound"]
    minimum: Unsigned = "0"
    sample_from: Annotated[
        Band | None, Field(description="Estimated count from which sample squares are accepted.")
    ] = None


class Rates(FileModel):
    """[rates]: money an hour."""

    repair: Unsigned
    removal: Unsigned


class Bands(FileModel):
    """Lower bounds of the bands of counts, and the highest count."""

    bands: Annotated[tuple[Band, ...], Field(min_length=1, max_length=200)]
    last: Band


class Grid(Bands):
    """[[grid]]: cells for some panels; one row a band of counts, one cell a column."""

    name: Name
    panels: Annotated[tuple[Panel, ...], Field(min_length=1, max_length=50)]
    rows: Annotated[tuple[tuple[Cell, ...], ...], Field(min_length=1, max_length=200)]


class Oversize(FileModel):
    """[oversize]: one dent beyond the largest coin."""

    minutes: Unsigned
    minutes_per_mm: Unsigned


class When(FileModel):
    """Conditions of an extra; all that are given must hold."""

    metal: Metal | None = None
    access: Literal["push", "glue"] | None = None
    repainted: Flag | None = None
    mark: Mark | None = None
    panel: Annotated[tuple[Panel, ...], Field(min_length=1)] | None = None
    body: Annotated[tuple[Body, ...], Field(min_length=1)] | None = None


class Extra(FileModel):
    """[[extra]]: a percentage, minutes or money on top, under conditions."""

    id: Name
    label: Title
    when: When = Field(default_factory=When)
    of: Literal["panel", "affected", "vehicle"] = "panel"
    percent: Signed | None = None
    minutes: Unsigned | None = None
    money: Unsigned | None = None
    per: Literal["panel", "dent"] | None = None


def _caution_kind(value: Any) -> str:
    return "one" if isinstance(value, str) else "several"


CautionKey = Annotated[str, Field(max_length=30)]
Caution = Annotated[
    Annotated[CautionKey, Tag("one")]
    | Annotated[tuple[CautionKey, ...], Field(max_length=10), Tag("several")],
    Discriminator(_caution_kind),
]


class Operation(FileModel):
    """[[removal]]: one thing that comes off and goes on again.

    With `body` or `equipment` only vehicles of these bodies, or that have it.
    """

    id: Name
    label: Title
    minutes: Unsigned
    after: Annotated[tuple[Name, ...], Field(max_length=50)] = ()
    opens: Annotated[tuple[Panel, ...], Field(max_length=50)] = ()
    fasteners: Annotated[int, Field(strict=True, ge=0, le=999)] = 0
    fastener_price: Unsigned | None = None
    caution: Caution = ""
    body: Annotated[tuple[Body, ...], Field(min_length=1)] | None = None
    equipment: Equipment | None = None

    @property
    def cautions(self) -> tuple[str, ...]:
        """Keys of its cautions; none if it has none."""
        if isinstance(self.caution, str):
            return (self.caution,) if self.caution else ()
        return self.caution


Force = Literal["forbid", "warn", "allow"]


class AccessRules(FileModel):
    """[access]: which dents may be glued; the limit is a panel's temperature in °C."""

    glue_limit_c: Unsigned = "30"
    glue_hot: Force = "forbid"
    glue_repainted: Force = "forbid"
    glue_sharp: Force = "forbid"
    glue_body_line: Force = "forbid"


class Tax(FileModel):
    """[tax]: percent on labour, on parts, on sublet work."""

    labour: Unsigned = "0"
    parts: Unsigned = "0"
    sublet: Unsigned = "0"


class Matrix(FileModel):
    """A whole matrix file."""

    matrix: MatrixHeader
    rates: Rates
    grid: Annotated[tuple[Grid, ...], Field(min_length=1, max_length=50)]
    oversize: Oversize | None = None
    extra: Annotated[tuple[Extra, ...], Field(max_length=200)] = ()
    removal: Annotated[tuple[Operation, ...], Field(max_length=200)] = ()
    access: AccessRules = Field(default_factory=AccessRules)
    tax: Tax = Field(default_factory=Tax)

    @property
    def name(self) -> str:
        """The matrix's name, which is also its file's."""
        return self.matrix.name


def coin_set(header: MatrixHeader) -> tuple[Coin, ...]:
    """All coins that tallies under this matrix may name, by ascending diameter."""
    from decimal import Decimal

    if isinstance(header.coins, str):
        return COIN_SETS[header.coins]
    own = (Coin(coin.name, Decimal(coin.mm), coin.source) for coin in header.coins)
    return tuple(sorted(own, key=lambda coin: coin.mm))


class MatrixReading(NamedTuple):
    """What came of reading a matrix file: `matrix` is None if there are problems."""

    matrix: Matrix | None
    problems: tuple[Problem, ...]


_LEAN_ON = {"id": {"percent", "minutes", "money"}}
"""An extra or operation whose amount is bad is left out of the checks between parts."""


def read_matrix(text: str, file: str = "matrix", name: str | None = None) -> MatrixReading:
    """Read a matrix file's TOML text; `name` is what its file is called, if it must agree."""
    return matrix_from_data(load_toml(text, file), file, name)


def matrix_from_data(data: Any, file: str = "matrix", name: str | None = None) -> MatrixReading:
    """A matrix from parsed TOML or JSON, with every mistake in it."""
    from hailcalc.matrix.checks import MatrixParts, matrix_problems

    matrix, problems = check(Matrix, data, file)
    if matrix is not None:
        parts = MatrixParts.of(matrix)
    else:
        parts = MatrixParts.of_sound(sound_parts(Matrix, data, problems, _LEAN_ON), data)
    problems = problems + list(matrix_problems(parts, file))
    header = parts.header
    if name is not None and header is not None and header.name != name:
        problems.append(
            Problem(file, ("matrix", "name"), f'"{header.name}"', f'the file\'s own name, "{name}"')
        )
    return MatrixReading(None if problems else matrix, tuple(problems))


def require_matrix(reading: MatrixReading) -> Matrix:
    """The matrix that was read, or InputError with everything that is wrong."""
    if reading.matrix is None:
        raise InputError(reading.problems)
    return reading.matrix
