"""The matrix file: the same after reading and writing, every mistake named by its place; which
matrix prices a claim.

Minutes, money as decimal strings. A mistake is told by table, row and column, with what was
expected there; one file's mistakes appear together.
"""

from __future__ import annotations

import datetime as dt
import json
import tomllib
from copy import deepcopy
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings

from hailcalc.claimfile import ClaimHeader, claim_from_data, require_claim
from hailcalc.fields import as_json
from hailcalc.matrix import (
    Matrix,
    choose_matrix,
    matrix_from_data,
    matrix_problem_of_choice,
    read_matrix,
    require_matrix,
)
from hailcalc.problems import InputError
from tests.effort import examples
from tests.strategies import matrices
from tests.test_estimate import LINER, a_claim, a_matrix, hood, priced, without

Table = dict[str, Any]

MATRICES = Path(__file__).parent.parent / "matrices"


def as_json_values(data: Table) -> Table:
    """What TOML gives, as JSON has it: dates as text."""
    values: Table = json.loads(json.dumps(data, default=dt.date.isoformat))
    return values


@settings(max_examples=examples(150))
@given(matrices())
def test_a_matrix_is_the_same_after_reading_and_writing(data: Table) -> None:
    read = require_matrix(matrix_from_data(data))
    written = as_json(read)
    assert written == as_json_values(data)
    assert require_matrix(matrix_from_data(json.loads(json.dumps(written)))) == read


@pytest.mark.parametrize("name", sorted(path.stem for path in MATRICES.glob("*.toml")))
def test_a_shipped_matrix_is_the_same_as_toml_and_as_json(name: str) -> None:
    text = (MATRICES / f"{name}.toml").read_text(encoding="utf-8")
    read = require_matrix(read_matrix(text, name=name))
    assert as_json(read) == as_json_values(tomllib.loads(text))
    assert require_matrix(matrix_from_data(as_json(read), name=name)) == read


def test_what_a_matrix_does_not_say() -> None:
    data = a_matrix()
    for key in ("coins", "mixed"):
        del data["matrix"][key]
    matrix = require_matrix(matrix_from_data(data))
    header = matrix.matrix
    assert (header.coins, header.mixed, header.locale, header.minimum) == (
        "us", "layers", "en_US", "0",
    )  # fmt: skip
    assert (matrix.extra, matrix.removal) == ((), ())
    assert (matrix.tax.labour, matrix.tax.parts, matrix.tax.sublet) == ("0", "0", "0")


# --- mistakes ---------------------------------------------------------------------------------


SOUND = a_matrix(
    extra=[
        {"id": "sharp", "label": "Sharp", "percent": "30", "when": {"mark": "sharp"}},
        {"id": "wash", "label": "Washed", "money": "5.00", "of": "vehicle"},
    ],
    removal=[
        LINER | {"fasteners": 6, "fastener_price": "1.10", "caution": "heat"},
        {"id": "visors", "label": "Visors", "minutes": "8"},
        {"id": "lining", "label": "Lining", "minutes": "40", "after": ["visors"],
         "opens": ["roof"]},
    ],
    tax={"parts": "7.5"},
    minimum="10.00",
)  # fmt: skip


def put(data: Table, path: str, value: Any) -> Table:
    """A copy of some data with one value set: `grid.0.bands`."""
    changed = deepcopy(data)
    *holders, last = path.split(".")
    inner: Any = changed
    for key in holders:
        inner = inner[int(key)] if isinstance(inner, list) else inner.setdefault(key, {})
    inner[int(last) if isinstance(inner, list) else last] = value
    return changed


def mistakes(data: Table) -> list[tuple[str, str, str]]:
    """Place, found and expected of everything that is wrong with a matrix."""
    reading = matrix_from_data(data)
    assert (reading.matrix is None) == bool(reading.problems)
    return [(p.place, p.found, p.expected) for p in reading.problems]


def test_the_matrix_that_is_spoilt_below_is_sound() -> None:
    assert mistakes(SOUND) == []


MONEY = "a decimal string of zero or more"
CELL = 'a whole number from 0, or a decimal string such as "22.50"'


@pytest.mark.parametrize(
    ("path", "value", "place", "found", "expected"),
    [
        # bands: gaps, overlaps, the end
        ("grid.0.bands", [2, 3, 7], "grid[0].bands[0]", "2", "1: counts 1 to 1 are in no band"),
        ("grid.0.bands", [1, 3, 3], "grid[0].bands[2]", "3 after 3", "do not overlap"),
        ("grid.0.bands", [1, 7, 3], "grid[0].bands[2]", "3 after 7", "more than 7"),
        ("grid.0.last", 6, "grid[0].last", "6", "7 (where the last band begins) or more"),
        ("grid.0.last", 5001, "grid[0].last", "5001", "at most 5000"),
        ("grid.0.bands", [1, 3, 7.5], "grid[0].bands[2]", "7.5", "a whole number"),
        ("grid.0.bands", [0, 3, 7], "grid[0].bands[0]", "0", "1 or more"),
        # rows
        ("grid.0.rows.1", [16, 22], "grid[0].rows[1]", "2 cells (band 3–6)", "3 cells"),
        ("grid.0.rows.1", [1] * 4, "grid[0].rows[1]", "4 cells (band 3–6)", "3 cells"),
        ("grid.0.rows.2", [], "grid[0].rows[2]", "0 cells (band 7–10)", "3 cells"),
        ("grid.0.rows", [[1, 2, 3], [4, 5, 6]], "grid[0].rows", "2 rows", "3 rows, one a band"),
        ("grid.0.rows", [[1, 2, 3]] * 4, "grid[0].rows", "4 rows", "3 rows, one a band"),
        ("grid.0.rows", "none", "grid[0].rows", '"none"', "a list"),
        # cells
        ("grid.0.rows.2.2", -1, "grid[0].rows[2][2]", "-1", CELL),
        ("grid.0.rows.2.2", "-1", "grid[0].rows[2][2]", '"-1"', CELL),
        ("grid.0.rows.2.2", 60.5, "grid[0].rows[2][2]", "60.5", CELL),
        ("grid.0.rows.2.2", True, "grid[0].rows[2][2]", "true", CELL),
        ("grid.0.rows.2.2", None, "grid[0].rows[2][2]", "null", CELL),
        ("grid.0.rows.2.2", "60,5", "grid[0].rows[2][2]", '"60,5"', CELL),
        ("grid.0.rows.2.2", "1e3", "grid[0].rows[2][2]", '"1e3"', CELL),
        ("grid.0.rows.2.2", "60.", "grid[0].rows[2][2]", '"60."', CELL),
        ("grid.0.rows.2.2", ".5", "grid[0].rows[2][2]", '".5"', CELL),
        ("grid.0.rows.2.2", "60.²", "grid[0].rows[2][2]", '"60.²"', CELL),
        ("grid.0.rows.2.2", "60.٣", "grid[0].rows[2][2]", '"60.٣"', CELL),
        ("grid.0.rows.2.2", "٦٠", "grid[0].rows[2][2]", '"٦٠"', CELL),
        # falling
        ("grid.0.rows.2.0", 15, "grid[0].rows[2][0]", "15 (band 7–10, dime)",
         "16 or more, the cell of the smaller count"),
        ("grid.0.rows.1.2", "22.5", "grid[0].rows[1][2]",
         "a step of 0.5 from quarter to half-dollar (band 3–6)", "6.5 or more"),
        ("grid.0.rows.2", [28, 33, 60], "grid[0].rows[2][1]",
         "a step of 5 from dime to quarter (band 7–10)", "6 or more"),
        # panels and names
        ("grid.0.panels", ["hood", "roof", "wing"], "grid[0].panels[2]", '"wing"', "'hood'"),
        ("grid.0.panels", ["hood", "roof", "hood"], "grid[0].panels[2]", '"hood" again',
         'each panel in one grid; "flat-panels" has it'),
        ("grid.0.panels", [], "grid[0].panels", "a list of 0", "at least 1"),
        ("grid.0.name", "flat panels", "grid[0].name", '"flat panels"', "lower-case letters"),
        ("grid", [], "grid", "a list of 0", "at least 1"),
        ("extra.1.id", "sharp", "extra[1].id", '"sharp" again', "extra[0] has it"),
        ("removal.1.id", "hood-liner", None, '"hood-liner" again', "removal[0] has it"),
        # the head
        ("matrix.columns", ["dime", "florin", "half-dollar"], "matrix.columns[1]", '"florin"',
         "one of the coins dime, cent, nickel, quarter, dollar, half-dollar"),
        ("matrix.columns", ["quarter", "dime", "half-dollar"], "matrix.columns[1]",
         '"dime" after "quarter"', "ascending diameter"),
        ("matrix.columns", ["dime", "dime", "half-dollar"], "matrix.columns[1]",
         '"dime" after "dime"', "each once"),
        ("matrix.coins", "de", "matrix.coins", '"de"', "'us', 'eu' or 'uk'"),
        ("matrix.currency", "USX", "matrix.currency", '"USX"', "ISO 4217"),
        ("matrix.currency", "usd", "matrix.currency", '"usd"', "ISO 4217"),
        ("matrix.currency", "XAU", "matrix.currency", '"XAU"', "ISO 4217"),
        ("matrix.currency", "DOLLAR", "matrix.currency", '"DOLLAR"', "at most 3 characters"),
        ("matrix.locale", "xx_YY", "matrix.locale", '"xx_YY"', "a locale such as en_US"),
        ("matrix.locale", "en-US", "matrix.locale", '"en-US"', "a locale such as en_US"),
        ("matrix.locale", "", "matrix.locale", '""', "a locale such as en_US"),
        ("matrix.effective", "2026-02-30", "matrix.effective", '"2026-02-30"', "a date"),
        ("matrix.until", "2026-02-28", "matrix.until", "2026-02-28", "2026-03-01, the first day"),
        ("matrix.cells", "hours", "matrix.cells", '"hours"', "'minutes' or 'money'"),
        ("matrix.mixed", "layer", "matrix.mixed", '"layer"', "'layers'"),
        ("matrix.within_band", "step", "matrix.within_band", '"step"', "'flat' or 'ramp'"),
        ("matrix.stacking", "sum", "matrix.stacking", '"sum"', "'add' or 'compound'"),
        ("matrix.revision", 0, "matrix.revision", "0", "1 or more"),
        ("matrix.minimum", 10.0, "matrix.minimum", "10.0", "text in quotes"),
        ("matrix.minimum", "10.005", "matrix.minimum", '"10.005"', "at most 2 decimals, as USD"),
        # money
        ("rates.repair", 96.0, "rates.repair", "96.0", "text in quotes"),
        ("rates.repair", 96, "rates.repair", "96", "text in quotes"),
        ("rates.repair", "96,00", "rates.repair", '"96,00"', MONEY),
        ("rates.repair", "-96", "rates.repair", '"-96"', MONEY),
        ("rates.removal", "72.001", "rates.removal", '"72.001"', "at most 2 decimals"),
        ("extra.1.money", "5.001", "extra[1].money", '"5.001"', "at most 2 decimals"),
        ("removal.0.fastener_price", "1.105", "removal[0].fastener_price", '"1.105"',
         "at most 2 decimals"),
        ("oversize.minutes", 30, "oversize.minutes", "30", "text in quotes"),
        ("tax.parts", "7,5", "tax.parts", '"7,5"', MONEY),
        ("tax.parts", "-1", "tax.parts", '"-1"', MONEY),
        # extras
        ("extra.0.money", "3.00", "extra[0]", "percent and money", "exactly one of percent"),
        ("extra.0.percent", None, "extra[0]", "no amount", "exactly one of percent"),
        ("extra.0.percent", "-5", "extra[0].percent", '"-5"', 'unless of = "vehicle"'),
        ("extra.0.percent", 30, "extra[0].percent", "30", "text in quotes"),
        ("extra.0.per", "dent", "extra[0].per", '"dent"', "no `per` with a percentage"),
        ("extra.1.per", "panel", "extra[1].per", '"panel"', "no `per` with a percentage"),
        ("extra.0.of", "dent", "extra[0].of", '"dent"', "'panel', 'affected' or 'vehicle'"),
        ("extra.0.when.mark", "bent", "extra[0].when.mark", '"bent"', "'braced'"),
        ("extra.0.when.metal", "tin", "extra[0].when.metal", '"tin"', "'steel'"),
        ("extra.0.when.access", "replace", "extra[0].when.access", '"replace"', "'push' or 'glue'"),
        ("extra.0.when.repainted", "no", "extra[0].when.repainted", '"no"', "true or false"),
        ("extra.0.when.panel", ["wing"], "extra[0].when.panel[0]", '"wing"', "'hood'"),
        ("extra.0.when.body", ["truck"], "extra[0].when.body[0]", '"truck"', "'sedan'"),
        ("extra.0.when.panel", [], "extra[0].when.panel", "a list of 0", "at least 1"),
        ("extra.1.when", {"panel": ["hood"]}, "extra[1].when.panel", "a condition on a panel",
         "only `body`"),
        ("extra.1.when", {"mark": "edge"}, "extra[1].when.mark", "a condition on a panel",
         "only `body`"),
        # removal
        ("removal.0.caution", "lava", "removal[0].caution", '"lava"', "one of airbag"),
        ("removal.0.caution", ["heat", "lava"], "removal[0].caution[1]", '"lava"', "one of airbag"),
        ("removal.0.caution", ["heat", "heat"], "removal[0].caution[1]", '"heat" again',
         "each caution once"),
        ("removal.0.caution", 7, "removal[0].caution", "7", "a list"),
        ("removal.0.body", ["truck"], "removal[0].body[0]", '"truck"', "'sedan'"),
        ("removal.0.body", [], "removal[0].body", "a list of 0", "at least 1"),
        ("removal.2.body", ["sedan", "convertible"], "removal[2].body[1]",
         '"convertible", which has none of roof', "bodies with a panel that it opens"),
        ("removal.0.equipment", "towbar", "removal[0].equipment", '"towbar"', "'sunroof'"),
        # access
        ("access", {"glue_limit_c": "-1"}, "access.glue_limit_c", '"-1"', MONEY),
        ("access", {"glue_limit_c": 30}, "access.glue_limit_c", "30", "text in quotes"),
        ("access", {"glue_hot": "never"}, "access.glue_hot", '"never"', "'forbid', 'warn' or"),
        ("access", {"glue_cold": "warn"}, "access", 'the unknown key "glue_cold"', "glue_hot"),
        ("removal.0.opens", ["wing"], "removal[0].opens[0]", '"wing"', "'hood'"),
        ("removal.0.after", ["bonnet"], "removal[0].after[0]", '"bonnet"',
         "the id of an operation in this file"),
        ("removal.0.opens", [], "removal[0].opens", 'nothing for "hood-liner"',
         "a panel that it opens, or another operation that needs it"),
        ("removal.0.fasteners", -1, "removal[0].fasteners", "-1", "0 or more"),
        ("removal.0.fasteners", 1.5, "removal[0].fasteners", "1.5", "a whole number"),
        ("removal.0.minutes", "-9", "removal[0].minutes", '"-9"', MONEY),
        ("removal.1.after", ["lining"], "removal",
         "a cycle in `after`: visors → lining → visors", "an order in which"),
        ("removal.0.after", ["hood-liner"], "removal",
         "a cycle in `after`: hood-liner → hood-liner", "an order in which"),
    ],
)  # fmt: skip
def test_one_mistake_is_one_problem_with_its_place(
    path: str, value: Any, place: str | None, found: str, expected: str
) -> None:
    data = put(SOUND, path, value)
    if path == "removal.1.id":  # else the lining would need an operation that is gone
        data = put(data, "removal.2.after", ["hood-liner"])
        data = put(data, "removal.1.opens", ["roof"])
        place = "removal[1].id"
    problems = mistakes(data)
    assert len(problems) == 1, problems
    assert problems[0][0] == place
    assert problems[0][1] == found or problems[0][1].startswith(found + " →")
    assert expected in problems[0][2]


def test_a_cell_that_falls_along_its_row_is_named_with_its_neighbour() -> None:
    data = put(SOUND, "grid.0.rows", [[10, 9, 9], [16, 22, 35], [28, 40, 60]])
    assert mistakes(data) == [
        (
            "grid[0].rows[0][1]",
            "9 (band 1–2, quarter)",
            "10 or more, the cell of the smaller size",
        )
    ]


def test_steps_may_fall_under_every_rule_but_layers() -> None:
    data = put(SOUND, "grid.0.rows", [[10, 20, 30], [20, 21, 40], [30, 31, 41]])
    assert len(mistakes(data)) > 0
    for mixed in ("share", "largest", "most", "each"):
        assert mistakes(put(data, "matrix.mixed", mixed)) == []


def test_a_panel_in_two_grids_is_named_with_the_grid_that_has_it() -> None:
    second = deepcopy(SOUND["grid"][0]) | {"name": "second", "panels": ["decklid", "roof"]}
    assert mistakes(SOUND | {"grid": [*SOUND["grid"], second]}) == [
        ("grid[1].panels[1]", '"roof" again', 'each panel in one grid; "flat-panels" has it')
    ]


def test_two_grids_of_one_name() -> None:
    second = deepcopy(SOUND["grid"][0]) | {"panels": ["decklid"]}
    ((place, found, _),) = mistakes(SOUND | {"grid": [*SOUND["grid"], second]})
    assert (place, found) == ("grid[1].name", '"flat-panels" again')


def test_cells_of_money_have_the_currencys_decimals() -> None:
    data = a_matrix(cells="money", currency="JPY", rates={"repair": "90", "removal": "60"})
    ((place, found, expected),) = mistakes(data)
    assert (place, found) == ("grid[0].rows[0][2]", '"20.5"')
    assert "at most 0 decimals, as JPY has" in expected


def test_a_shops_own_coins_have_names_and_diameters_of_their_own() -> None:
    coins = [
        {"name": "ring", "mm": "12.5", "source": "gauge"},
        {"name": "ring", "mm": "0", "source": "gauge"},
        {"name": "disc", "mm": "12.50", "source": "gauge"},
        {"name": "plate", "mm": "501", "source": "gauge"},
    ]
    data = a_matrix(coins=coins, columns=["ring"], rows=[[1], [2], [3]])
    assert [place for place, _, _ in mistakes(data)] == [
        "matrix.coins[1].name",
        "matrix.coins[1].mm",
        "matrix.coins[2].mm",
        "matrix.coins[3].mm",
    ]


@pytest.mark.parametrize(
    ("place", "key", "hint"),
    [
        ("", "grids", '"grid"'),
        ("matrix", "column", '"columns"'),
        ("rates", "parts", "one of repair, removal"),
        ("grid.0", "row", '"rows"'),
        ("oversize", "per_mm", '"minutes_per_mm"'),
        ("extra.0", "percentage", '"percent"'),
        ("extra.0.when", "bodies", '"body"'),
        ("removal.0", "open", '"opens"'),
        ("tax", "labor", '"labour"'),
    ],
)
def test_an_unknown_key_is_named_with_the_one_that_was_meant(
    place: str, key: str, hint: str
) -> None:
    problems = mistakes(put(SOUND, f"{place}.{key}" if place else key, "1"))
    ((where, found, expected),) = problems
    assert where.replace("[", ".").replace("]", "") == place
    assert found == f'the unknown key "{key}"'
    assert hint in expected


@pytest.mark.parametrize("table", ["matrix", "rates", "grid"])
def test_a_matrix_needs_its_head_its_rates_and_a_grid(table: str) -> None:
    assert mistakes(without(SOUND, table)) == [
        (table, "nothing", "a value, which is required here")
    ]


def test_a_matrix_is_called_as_its_file() -> None:
    (problem,) = matrix_from_data(SOUND, "matrices/other.toml", "other").problems
    assert str(problem) == (
        'matrices/other.toml: matrix.name: found "larkspur", expected the file\'s own name, "other"'
    )


def test_a_key_or_a_table_twice_is_no_matrix_file() -> None:
    for text in ("[rates]\nrepair = '1'\nrepair = '2'\n", "[rates]\n[rates]\n"):
        with pytest.raises(InputError, match="expected TOML"):
            read_matrix(text)


def test_a_rate_without_quotes_is_a_mistake_in_toml_too() -> None:
    text = '[rates]\nrepair = 96.00\nremoval = "72.00"\n'
    problems = {p.place: (p.found, p.expected) for p in read_matrix(text).problems}
    assert problems["rates.repair"] == ("96.00", "text in quotes")


def test_all_mistakes_of_a_matrix_file_are_reported_together() -> None:
    data = a_matrix(
        currency="USX",
        locale="xx",
        until="2026-01-01",
        minimum=5,
        columns=["quarter", "dime", "half-dollar"],
        rates={"repair": 90.0, "removal": "60.00", "parts": "1"},
        bands=[2, 2, 7],
        last=3,
        panels=["hood", "hood"],
        extra=[
            {"id": "a", "label": "A", "percent": "5", "money": "1"},
            {"id": "a", "label": "A"},
            {"id": "b", "label": "B", "percent": "-5"},
        ],
        removal=[
            {"id": "x", "label": "X", "minutes": "1", "opens": ["hood"], "caution": "lava"},
            {"id": "x", "label": "X", "minutes": 1},
        ],
        tax={"labour": "five"},
    )
    places = {place for place, _, _ in mistakes(data)}
    assert places >= {
        "matrix.minimum",
        "rates",
        "rates.repair",
        "grid[0].bands[0]",
        "grid[0].bands[1]",
        "grid[0].last",
        "grid[0].panels[1]",
        "extra[0]",
        "extra[1].id",
        "extra[1]",
        "extra[2].percent",
        "removal[0].caution",
        "removal[1].minutes",
        "tax.labour",
    }
    # With its minimum mended, what is wrong in the rest of the head shows as well.
    data["matrix"]["minimum"] = "5"
    assert {place for place, _, _ in mistakes(data)} >= {
        "matrix.currency", "matrix.locale", "matrix.until", "matrix.columns[1]",
    }  # fmt: skip


def test_several_mistakes_in_one_grid_are_reported_together() -> None:
    data = put(SOUND, "grid.0.rows", [[10, 14, "20.5"], [9, 22], [28, 40, 60], [1, 2, 3]])
    data = put(data, "grid.0.bands", [1, 3, 2])
    assert {place for place, _, _ in mistakes(data)} >= {
        "grid[0].bands[2]", "grid[0].rows", "grid[0].rows[1]",
    }  # fmt: skip


# --- which matrix prices a claim --------------------------------------------------------------


def a_shelf(*entries: tuple[str, str | None, str, str | None]) -> list[Matrix]:
    """Matrices by name, insurer, first and last day."""
    shelf = []
    for name, insurer, effective, until in entries:
        header: Table = {"name": name, "effective": effective}
        header |= {"insurer": insurer} if insurer else {}
        header |= {"until": until} if until else {}
        shelf.append(require_matrix(matrix_from_data(a_matrix(**header))))
    return shelf


def a_header(insurer: str | None = None, date_of_loss: str = "2026-05-19") -> ClaimHeader:
    given: Table = {"date_of_loss": date_of_loss} | ({"insurer": insurer} if insurer else {})
    return require_claim(claim_from_data(a_claim(claim=given))).claim


SHELF = a_shelf(
    ("own-2025", None, "2025-01-01", "2025-12-31"),
    ("own-2026", None, "2026-01-01", None),
    ("quillwort-early", "Quillwort Mutual", "2026-01-01", "2026-05-18"),
    ("quillwort-late", "Quillwort Mutual", "2026-05-19", None),
    ("larkspur-2026", "Larkspur", "2026-01-01", "2026-12-31"),
)


@pytest.mark.parametrize(
    ("insurer", "day", "name"),
    [
        ("Quillwort Mutual", "2026-05-18", "quillwort-early"),
        ("Quillwort Mutual", "2026-05-19", "quillwort-late"),
        ("  quillwort   MUTUAL ", "2026-05-19", "quillwort-late"),
        ("Larkspur", "2026-12-31", "larkspur-2026"),
        # nothing agreed for that day or with that insurer: the shop's own
        ("Larkspur", "2027-01-01", "own-2026"),
        ("Larkspur", "2025-12-31", "own-2025"),
        ("Somebody else", "2026-05-19", "own-2026"),
        (None, "2026-01-01", "own-2026"),
        (None, "2025-12-31", "own-2025"),
    ],
)
def test_the_matrix_is_the_insurers_of_that_day_else_the_shops_own(
    insurer: str | None, day: str, name: str
) -> None:
    assert choose_matrix(a_header(insurer, day), None, SHELF).name == name


def test_a_claim_may_name_its_matrix_whatever_the_insurer_and_the_day() -> None:
    assert choose_matrix(a_header("Larkspur"), "own-2025", SHELF).name == "own-2025"


def test_a_matrix_that_is_not_there_is_an_error_that_lists_those_that_are() -> None:
    with pytest.raises(InputError) as caught:
        choose_matrix(a_header(), "own-2024", SHELF)
    (problem,) = caught.value.problems
    assert (problem.place, problem.found) == ("matrix", '"own-2024"')
    assert problem.expected == (
        "one of larkspur-2026, own-2025, own-2026, quillwort-early, quillwort-late"
    )


def test_no_matrix_that_fits_is_an_error_that_lists_all() -> None:
    with pytest.raises(InputError) as caught:
        choose_matrix(a_header(date_of_loss="2024-12-31"), None, SHELF)
    (problem,) = caught.value.problems
    assert "no matrices that fit no insurer and 2024-12-31" in problem.found
    assert "own-2025 (the shop's own, 2025-01-01 to 2025-12-31)" in problem.expected
    assert "larkspur-2026 (Larkspur, 2026-01-01 to 2026-12-31)" in problem.expected


def test_several_matrices_that_fit_are_an_error_that_lists_them() -> None:
    shelf = [*SHELF, *a_shelf(("larkspur-b", "Larkspur", "2026-05-01", None))]
    with pytest.raises(InputError) as caught:
        choose_matrix(a_header("Larkspur"), None, shelf)
    (problem,) = caught.value.problems
    assert '2 matrices that fit insurer "Larkspur" and 2026-05-19' in problem.found
    assert "larkspur-2026" in problem.expected
    assert "larkspur-b" in problem.expected
    assert "own-2026" not in problem.expected


def test_an_empty_shelf_is_an_error() -> None:
    for name in (None, "own-2026"):
        with pytest.raises(InputError):
            choose_matrix(a_header(), name, [])


def test_a_sheet_warns_where_its_matrix_is_for_another_day_or_insurer() -> None:
    matrix = a_shelf(("quillwort", "Quillwort Mutual", "2026-01-01", "2026-01-31"))[0]
    other_day, other_insurer = matrix_problem_of_choice(a_header("Larkspur"), matrix)
    assert "2026-01-01 to 2026-01-31" in other_day
    assert '"Quillwort Mutual"' in other_insurer
    assert '"Larkspur"' in other_insurer
    assert matrix_problem_of_choice(a_header("quillwort mutual", "2026-01-31"), matrix) == []
    claim = a_claim(hood(tally={"dime": 1}))
    assert len(priced(claim, as_json(matrix)).warnings) == 2
    assert priced(claim).warnings == ()
