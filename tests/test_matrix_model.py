"""Every figure of the matrices that come with hailcalc follows from its stated model.

Units: minutes and millimetres; money in the matrix's currency, as exact decimals. Each file in
matrices/ opens with comment lines `# model:`, `# rounding:`, `# oversize:` and `# extra:` that
hold the parameters; matrices/MODEL.md says in words what they mean. The one idea: the grids,
bands, oversize minutes and extras are worked out here a second time from those parameters, so a
cell that somebody edits by hand, or a parameter that is changed alone, shows at once.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from hailcalc.coins import COIN_SETS
from hailcalc.matrix import (
    MatrixTables,
    compile_tables,
    mixed_cells,
    read_matrix,
    require_matrix,
)
from hailcalc.vehicle import PANELS

MATRICES = Path(__file__).parent.parent / "matrices"
NAMES = sorted(path.stem for path in MATRICES.glob("*.toml"))
PARAMETERS = ("setup", "dent", "power", "floor", "practice", "growth", "last")
LAST_LATIN_LETTER = "\u024f"

Statement = dict[str, str]

every_matrix = pytest.mark.parametrize("name", NAMES)


# --- what a file says -------------------------------------------------------------------------


@cache
def text_of(name: str) -> str:
    return (MATRICES / f"{name}.toml").read_text(encoding="utf-8")


@cache
def table_of(name: str) -> dict[str, Any]:
    return tomllib.loads(text_of(name))


def opening_comment(name: str) -> str:
    """The comment above the first table, as one line of text."""
    lines = []
    for line in text_of(name).splitlines():
        if not line.startswith("#"):
            break
        lines.append(line.removeprefix("#").strip())
    return " ".join(lines)


def statements(name: str, kind: str) -> list[Statement]:
    """The comment lines of a kind, each as its key=value pairs."""
    found = re.findall(rf"^# {kind}: (.+)$", text_of(name), re.MULTILINE)
    return [dict(pair.split("=", 1) for pair in line.split()) for line in found]


def coin_mm(name: str) -> dict[str, Decimal]:
    """Diameters of the coins that a matrix compares dents with."""
    coins = table_of(name)["matrix"]["coins"]
    if isinstance(coins, str):
        return {coin.name: coin.mm for coin in COIN_SETS[coins]}
    return {coin["name"]: Decimal(coin["mm"]) for coin in coins}


# --- the model, as MODEL.md tells it ----------------------------------------------------------


@cache
def worth_of_dent(number: int, floor: Decimal, practice: Decimal) -> Decimal:
    """What the so-manieth dent of a panel takes, in first ones."""
    return floor + (1 - floor) * Decimal(number) ** -practice


@dataclass(frozen=True)
class Model:
    """The parameters of one grid; `setup` and `dent` in minutes."""

    setup: Decimal
    dent: Decimal
    power: Decimal
    floor: Decimal
    practice: Decimal
    growth: Decimal
    last: int
    at: str

    def first_dent(self, mm: Decimal) -> Decimal:
        """Minutes for the first dent of a size on a panel."""
        return self.dent * (mm / 20) ** self.power

    def worth(self, count: int) -> Decimal:
        """So many dents on one panel take as long as this many first ones."""
        each = (worth_of_dent(i, self.floor, self.practice) for i in range(1, count + 1))
        return sum(each, start=Decimal(0))

    def minutes(self, count: int, mm: Decimal) -> Decimal:
        """Minutes for a panel with dents of one size."""
        return self.setup + self.first_dent(mm) * self.worth(count)

    def bands(self) -> list[int]:
        """Lower bounds; where counts run linearly between them, the last count has its own row."""
        lows = [1]
        while (low := max(lows[-1] + 1, int(to_unit(lows[-1] * self.growth)))) < self.last:
            lows.append(low)
        return [*lows, self.last] if self.at == "lower" else lows

    def counts(self) -> list[int]:
        """The count that stands for each band."""
        lows = self.bands()
        if self.at == "lower":
            return lows
        highs = [*(low - 1 for low in lows[1:]), self.last]
        return [(low + high) // 2 for low, high in zip(lows, highs, strict=True)]


def to_unit(value: Decimal, unit: Decimal = Decimal(1)) -> Decimal:
    """The nearest multiple of the unit; a half goes up."""
    return (value / unit).quantize(Decimal(1), ROUND_HALF_UP) * unit


def models(name: str) -> dict[str, Model]:
    """The stated model of each grid."""
    return {
        said["grid"]: Model(
            setup=Decimal(said["setup"]),
            dent=Decimal(said["dent"]),
            power=Decimal(said["power"]),
            floor=Decimal(said["floor"]),
            practice=Decimal(said["practice"]),
            growth=Decimal(said["growth"]),
            last=int(said["last"]),
            at=said["at"],
        )
        for said in statements(name, "model")
    }


def unit_of(name: str) -> Decimal:
    (said,) = statements(name, "rounding")
    return Decimal(said["unit"])


def an_hour(name: str) -> Decimal:
    """What an hour is worth in a cell: 60 minutes, or the repair rate."""
    table = table_of(name)
    return Decimal(60 if table["matrix"]["cells"] == "minutes" else table["rates"]["repair"])


def modelled_rows(name: str, grid: str) -> list[list[Decimal]]:
    """All cells of a grid.

    The first column and every step to the next column are rounded by themselves and added up,
    so that rounding can never make a step between sizes fall as the count grows.
    """
    model, hour, unit = models(name)[grid], an_hour(name) / 60, unit_of(name)
    mm = coin_mm(name)
    firsts = [model.first_dent(mm[coin]) for coin in table_of(name)["matrix"]["columns"]]
    rows = []
    for count in model.counts():
        worth = model.worth(count)
        cells = [to_unit((model.setup + firsts[0] * worth) * hour, unit)]
        for smaller, larger in pairwise(firsts):
            cells.append(cells[-1] + to_unit((larger - smaller) * worth * hour, unit))
        rows.append(cells)
    return rows


def modelled_percent(name: str, said: Statement) -> Decimal:
    """A percentage from the minutes more that its reason names."""
    if "saved" in said:
        return to_unit(-100 * Decimal(said["saved"]) / Decimal(said["of"]))
    model, count = models(name)[said["grid"]], int(said["count"])
    usual = model.minutes(count, coin_mm(name)[said["coin"]])
    more = (
        Decimal(said.get("setup", "0"))
        + Decimal(said.get("dent", "0")) * count
        + (Decimal(said.get("slower", "1")) - 1) * (usual - model.setup)
    )
    return to_unit(100 * more / usual)


def texts_in(value: Any) -> Iterator[str]:
    """Every text that stands anywhere in a table."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for inner in value.values():
            yield from texts_in(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from texts_in(inner)


# --- the checks -------------------------------------------------------------------------------


def test_four_matrices_come_with_the_shop() -> None:
    assert len(NAMES) == 4


@every_matrix
def test_a_matrix_opens_by_saying_that_it_is_invented_and_where_its_figures_come_from(
    name: str,
) -> None:
    opening = opening_comment(name)
    assert "invented" in opening
    assert "MODEL.md" in opening
    assert "(invented" in table_of(name)["matrix"]["title"]


@every_matrix
def test_the_product_accepts_the_matrix(name: str) -> None:
    assert read_matrix(text_of(name), f"{name}.toml", name).problems == ()


@every_matrix
def test_every_cell_is_what_the_model_says(name: str) -> None:
    for grid in table_of(name)["grid"]:
        written = [[Decimal(cell) for cell in cells] for cells in grid["rows"]]
        assert written == modelled_rows(name, grid["name"]), grid["name"]


@every_matrix
def test_bands_grow_by_the_stated_factor(name: str) -> None:
    grids = table_of(name)["grid"]
    assert [grid["name"] for grid in grids] == list(models(name))
    for grid in grids:
        model = models(name)[grid["name"]]
        assert (grid["bands"], grid["last"]) == (model.bands(), model.last), grid["name"]


@every_matrix
def test_a_ramp_is_modelled_where_bands_begin_and_a_flat_band_in_its_middle(name: str) -> None:
    at = {"flat": "middle", "ramp": "lower"}[table_of(name)["matrix"]["within_band"]]
    assert {model.at for model in models(name).values()} == {at}


@every_matrix
def test_every_panel_of_every_body_has_a_grid(name: str) -> None:
    listed = [panel for grid in table_of(name)["grid"] for panel in grid["panels"]]
    assert sorted(listed) == sorted(PANELS)


@every_matrix
def test_oversize_starts_as_a_lone_dent_of_the_largest_coin(name: str) -> None:
    (said,) = statements(name, "oversize")
    table = table_of(name)
    largest = coin_mm(name)[table["matrix"]["columns"][-1]]
    model = models(name)[said["grid"]]
    steeper = Decimal(said["stretch"]) * model.power * model.first_dent(largest) / largest
    assert Decimal(table["oversize"]["minutes"]) == to_unit(model.minutes(1, largest))
    assert Decimal(table["oversize"]["minutes_per_mm"]) == to_unit(steeper, Decimal("0.1"))


@every_matrix
def test_every_extra_follows_from_the_reason_that_is_given_for_it(name: str) -> None:
    table = table_of(name)
    reasons = statements(name, "extra")
    assert [said["id"] for said in reasons] == [extra["id"] for extra in table["extra"]]
    for extra, said in zip(table["extra"], reasons, strict=True):
        if "percent" in extra:
            assert Decimal(extra["percent"]) == modelled_percent(name, said), extra["id"]
        elif "minutes" in extra:
            assert Decimal(extra["minutes"]) == Decimal(said["minutes"]), extra["id"]
        else:
            money = Decimal(said["minutes"]) * Decimal(table["rates"]["repair"]) / 60
            assert Decimal(extra["money"]) == to_unit(money, unit_of(name)), extra["id"]


def test_the_parameters_in_the_explanation_are_those_in_the_files() -> None:
    explained = {}
    for line in (MATRICES / "MODEL.md").read_text(encoding="utf-8").splitlines():
        fields = [field.strip() for field in line.strip("|").split("|")]
        if fields[0] in NAMES and fields[1] in models(fields[0]):
            explained[fields[0], fields[1]] = fields[2:]
    stated = {
        (name, said["grid"]): [said[key] for key in PARAMETERS]
        for name in NAMES
        for said in statements(name, "model")
    }
    assert explained == stated


@every_matrix
def test_everything_that_prints_is_in_latin_letters(name: str) -> None:
    for text in texts_in(table_of(name)):
        assert text.isprintable(), text
        assert max(text, default="") <= LAST_LATIN_LETTER, text


def test_the_matrices_show_every_way_to_read_cells_between_them() -> None:
    heads = [table_of(name)["matrix"] for name in NAMES]
    assert {head["mixed"] for head in heads} == {"layers", "share", "each", "most"}
    assert {head["cells"] for head in heads} == {"minutes", "money"}
    assert {head["within_band"] for head in heads} == {"flat", "ramp"}
    assert {head["stacking"] for head in heads} == {"add", "compound"}


@every_matrix
def test_bands_are_fine_enough_for_what_the_file_promises(name: str) -> None:
    columns = table_of(name)["matrix"]["columns"]
    for model in models(name).values():
        lows = model.bands()
        for coin in columns:
            mm = coin_mm(name)[coin]
            minutes = {n: model.minutes(n, mm) for n in range(1, model.last + 1)}
            if model.at == "lower":
                for low, high in pairwise(lows):
                    for n in range(low, high):
                        rise = (minutes[high] - minutes[low]) * (n - low) / (high - low)
                        assert Decimal("0.99") <= (minutes[low] + rise) / minutes[n] <= 1
            else:
                highs = [*(low - 1 for low in lows[1:]), model.last]
                for low, high, middle in zip(lows, highs, model.counts(), strict=True):
                    for n in (low, high):
                        assert abs(minutes[n] / minutes[middle] - 1) <= Decimal("0.2"), (low, n)


def tables_of(name: str) -> MatrixTables:
    return compile_tables(require_matrix(read_matrix(text_of(name), name)))


def test_under_share_one_more_dent_never_makes_a_panel_cheaper_with_the_agreed_cells() -> None:
    # The change is linear in the numbers of each size, so panels of one size are the worst cases.
    tables = tables_of("larkspur-agreed-2026")
    assert tables.mixed == "share"
    for grid in tables.grids:
        for count in range(1, grid.last):
            for column, before in enumerate(grid.values[count]):
                after = count * grid.values[count + 1][column] + grid.values[count + 1][0]
                assert after >= (count + 1) * before, (grid.name, count, column)


def test_under_most_a_small_dent_can_make_a_panel_cheaper_as_the_explanation_warns() -> None:
    tables = tables_of("tsuyukusa-agreed-2026")
    (hood,) = (grid for grid in tables.grids if grid.name == "horizontal")
    prices = []
    for counts in ([21, 0, 0, 21], [22, 0, 0, 21]):
        ((use,), divisor) = mixed_cells(tables.mixed, counts)
        prices.append(hood.values[use.dents][use.column] // divisor)
    assert prices == [28100, 20600]
