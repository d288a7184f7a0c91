"""What has to come off, in the matrices that come with hailcalc.

Units: minutes of the shop; money in minor units, with the matrix's tax. The one idea: each file
is read as plain TOML, and the cheapest set is found here a second time, by trying every
combination of one way a panel, so that an operation that nobody would ever choose, a panel that
nothing opens or a caution that was forgotten shows at once. What the parts of a vehicle are
called and where its hazards sit is common practice, no source.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from fractions import Fraction
from functools import cache
from graphlib import TopologicalSorter
from itertools import combinations
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from hailcalc.cautions import CAUTIONS
from hailcalc.matrix import base_amount, compile_tables, read_matrix, require_matrix
from hailcalc.money import currency_decimals, minor_units, rounded
from hailcalc.vehicle import BODIES, PANELS, PANELS_OF_BODY
from tests.builders import claim, estimate, panel

MATRICES = Path(__file__).parent.parent / "matrices"
NAMES = sorted(path.stem for path in MATRICES.glob("*.toml"))
EQUIPMENT = ("sunroof", "roof-rack", "roof-antenna")
EQUIPPED: tuple[tuple[str, ...], ...] = (
    *(some for number in range(len(EQUIPMENT)) for some in combinations(EQUIPMENT, number)),
    EQUIPMENT,
)
WITH_ROOF = [body for body in BODIES if "roof" in PANELS_OF_BODY[body]]
DAMAGE = (
    {"hood", "fender-l", "fender-r"},
    {"door-fl", "door-fr", "door-rl", "door-rr"},
    {"roof", "rail-l", "rail-r"},
    {"decklid", "liftgate", "quarter-l", "quarter-r"},
    {"tailgate", "bedside-l", "bedside-r", "cab-corner-l", "cab-corner-r", "roof"},
)
"""Panels that hail strikes together, beside every one alone and every pair."""

FAMILIES = (
    r"\bheadliner out",
    r"pillar trims",
    r"\bvisors",
    r"grab handles",
    r"overhead console",
    r"roof pads",
    r"roof mouldings?",
    r"hood liner",
    r"decklid liner",
    r"liftgate .*trim|liftgate trim",
    r"tailgate .*cover",
    r"door cards?",
    r"belt mouldings",
    r"front wheel-arch liner, left",
    r"front wheel-arch liner, right",
    r"rear wheel-arch liner, left",
    r"rear wheel-arch liner, right",
    r"head lamps?",
    r"tail lamps?",
    r"luggage-space .*trim",
    r"bed liner",
    r"bed rail caps?",
    r"\brear bench",
    r"\bcab .*trim",
)
"""Labels of what every matrix has an operation for."""

Table = dict[str, Any]
Rank = tuple[Fraction, Fraction, int, tuple[int, ...]]

every_matrix = pytest.mark.parametrize("name", NAMES)


# --- a matrix as its file has it --------------------------------------------------------------


@cache
def table_of(name: str) -> Table:
    return tomllib.loads((MATRICES / f"{name}.toml").read_text(encoding="utf-8"))


def operations_of(name: str) -> list[Table]:
    operations: list[Table] = table_of(name)["removal"]
    return operations


def cautions_of(operation: Table) -> list[str]:
    caution = operation.get("caution", [])
    return [caution] if isinstance(caution, str) else list(caution)


def labelled(name: str, words: str) -> list[Table]:
    """Operations whose label holds the words (a regular expression, any case)."""
    return [op for op in operations_of(name) if re.search(words, op["label"], re.IGNORECASE)]


# --- what a vehicle has, and its cheapest set -------------------------------------------------


class Vehicle(NamedTuple):
    body: str
    equipment: tuple[str, ...] = ()


def vehicles() -> Iterator[Vehicle]:
    for body in BODIES:
        for equipment in EQUIPPED:
            yield Vehicle(body, equipment)


def of_vehicle(name: str, vehicle: Vehicle) -> dict[int, Table]:
    """The operations that a vehicle has, by their position in the file."""
    return {
        position: operation
        for position, operation in enumerate(operations_of(name))
        if vehicle.body in operation.get("body", BODIES)
        and operation.get("equipment") in (None, *vehicle.equipment)
    }


@cache
def ways_of(name: str, vehicle: Vehicle) -> dict[str, list[frozenset[int]]]:
    """For each panel of the vehicle every way to it: an operation with all that it needs."""
    operations = of_vehicle(name, vehicle)
    position = {operation["id"]: index for index, operation in operations.items()}

    def needs(index: int) -> frozenset[int]:
        before = (position[id_] for id_ in operations[index].get("after", []) if id_ in position)
        return frozenset({index}).union(*map(needs, before))

    return {
        panel: [
            needs(index) for index, op in operations.items() if panel in op.get("opens", [])
        ]
        for panel in PANELS
        if panel in PANELS_OF_BODY[vehicle.body]
    }  # fmt: skip


@cache
def costs_of(name: str) -> list[tuple[Fraction, Fraction]]:
    """Of each operation what it costs with tax, and its minutes."""
    table = table_of(name)
    decimals = currency_decimals(table["matrix"]["currency"])
    assert decimals is not None
    hour = minor_units(table["rates"]["removal"], decimals)
    taxed = {kind: 1 + Fraction(table["tax"][kind]) / 100 for kind in ("labour", "parts")}
    costs = []
    for operation in table["removal"]:
        labour = rounded(Fraction(operation["minutes"]) * hour / 60)
        price = minor_units(operation.get("fastener_price", "0"), decimals)
        fasteners = operation.get("fasteners", 0) * price
        cost = taxed["labour"] * labour + taxed["parts"] * fasteners
        costs.append((cost, Fraction(operation["minutes"])))
    return costs


def cheapest(name: str, vehicle: Vehicle, panels: set[str]) -> frozenset[int]:
    """The set that opens the panels for least money; then minutes, number, file order."""
    costs = costs_of(name)

    def rank(taken: frozenset[int]) -> Rank:
        money = sum((costs[index][0] for index in taken), Fraction(0))
        minutes = sum((costs[index][1] for index in taken), Fraction(0))
        return money, minutes, len(taken), tuple(sorted(taken))

    ways = ways_of(name, vehicle)
    sets = {frozenset[int]()}
    for each in panels & ways.keys():
        sets = {taken | way for taken in sets for way in ways[each]}
    return min(sets, key=rank)


def ids(name: str, taken: frozenset[int]) -> set[str]:
    return {operations_of(name)[index]["id"] for index in taken}


def damages(body: str) -> Iterator[set[str]]:
    """Every panel of a body alone, every pair, and what hail strikes together."""
    panels = sorted(PANELS_OF_BODY[body])
    yield from ({panel} for panel in panels)
    yield from (set(pair) for pair in combinations(panels, 2))
    yield from (struck.intersection(panels) for struck in DAMAGE)


# --- what there is ----------------------------------------------------------------------------


@every_matrix
def test_a_matrix_lists_the_whole_work_of_a_shop(name: str) -> None:
    assert len(operations_of(name)) >= 30


@every_matrix
@pytest.mark.parametrize("words", FAMILIES)
def test_every_matrix_takes_off_what_hail_shops_take_off(name: str, words: str) -> None:
    assert labelled(name, words)


@every_matrix
@pytest.mark.parametrize("equipment", EQUIPMENT)
def test_what_only_some_vehicles_have_comes_off_only_those(name: str, equipment: str) -> None:
    word = equipment.removeprefix("roof-")
    named = labelled(name, rf"\b{word}\b")
    assert named
    assert {operation.get("equipment") for operation in named} == {equipment}
    others = [op for op in operations_of(name) if op.get("equipment") == equipment]
    assert others == named


@every_matrix
def test_no_two_operations_are_called_alike(name: str) -> None:
    labels = [operation["label"].casefold() for operation in operations_of(name)]
    assert len(set(labels)) == len(labels)


@every_matrix
def test_a_bed_is_a_pickups_and_a_luggage_space_is_not(name: str) -> None:
    for operation in labelled(name, r"\bbed\b|\bcab\b|tailgate"):
        assert operation["body"] == ["pickup"], operation["id"]
    for operation in labelled(name, r"luggage|parcel|load|trunk|tail lamp"):
        assert "pickup" not in operation["body"], operation["id"]
    for operation in labelled(name, r"liftgate"):
        assert {"liftgate"} <= set.intersection(
            *(set(PANELS_OF_BODY[body]) for body in operation["body"])
        ), operation["id"]


@every_matrix
def test_rear_door_cards_are_not_looked_for_on_vehicles_with_two_doors(name: str) -> None:
    rear = labelled(name, r"door card.*rear")
    assert rear
    for operation in rear:
        assert {"coupe", "convertible"}.isdisjoint(operation["body"]), operation["id"]


# --- ways -------------------------------------------------------------------------------------


@every_matrix
def test_every_panel_of_every_vehicle_can_be_opened(name: str) -> None:
    for vehicle in vehicles():
        closed = [panel for panel, ways in ways_of(name, vehicle).items() if not ways]
        assert closed == [], vehicle


@every_matrix
@pytest.mark.parametrize(
    "panels",
    [
        ["rail-l", "rail-r"],
        ["fender-l", "fender-r"],
        ["door-fl", "door-fr", "door-rl", "door-rr"],
        ["quarter-l", "quarter-r"],
        ["bedside-l", "bedside-r"],
    ],
)
def test_rails_fenders_doors_quarters_and_bedsides_have_more_than_one_way(
    name: str, panels: list[str]
) -> None:
    for vehicle in vehicles():
        for each in PANELS_OF_BODY[vehicle.body].intersection(panels):
            assert len(ways_of(name, vehicle)[each]) >= 2, (vehicle, each)


@every_matrix
@pytest.mark.parametrize("equipment", EQUIPPED)
@pytest.mark.parametrize("body", WITH_ROOF)
def test_a_roof_with_a_sunroof_takes_its_frame_out_and_one_without_has_none(
    name: str, body: str, equipment: tuple[str, ...]
) -> None:
    taken = cheapest(name, Vehicle(body, equipment), {"roof"})
    assert ("sunroof-frame" in ids(name, taken)) == ("sunroof" in equipment)
    assert ("roof-rack" in ids(name, taken)) == ("roof-rack" in equipment)


@every_matrix
def test_no_way_to_the_roof_leaves_a_sunroofs_frame_in_or_a_rack_on(name: str) -> None:
    for body in WITH_ROOF:
        for way in ways_of(name, Vehicle(body, EQUIPMENT))["roof"]:
            assert {"sunroof-frame", "roof-rack", "headliner-out"} <= ids(name, way), body


@every_matrix
def test_roof_and_rails_together_share_the_headliner(name: str) -> None:
    sedan = Vehicle("sedan")
    both = {"roof", "rail-l", "rail-r"}
    together, roof, rails = (
        sum(costs_of(name)[index][0] for index in cheapest(name, sedan, panels))
        for panels in (both, {"roof"}, both - {"roof"})
    )
    assert "headliner-out" in ids(name, cheapest(name, sedan, both))
    assert together < roof + rails


def test_a_pair_of_doors_is_opened_by_each_shops_own_habit() -> None:
    """One side, both fronts, all four: what comes off differs from matrix to matrix."""
    pairs = [{"door-fl"}, {"door-fl", "door-rl"}, {"door-fl", "door-fr"}, {*DAMAGE[1]}]
    habits = {
        name: [
            "belt" if all("belt" in id_ for id_ in found) else "cards"
            for panels in pairs
            for found in [ids(name, cheapest(name, Vehicle("suv"), panels)) - {"mirror-covers"}]
        ]
        for name in NAMES
    }
    assert habits == {
        "copperfin-2026": ["cards", "belt", "cards", "belt"],
        "larkspur-agreed-2026": ["cards", "belt", "cards", "belt"],
        "quendel-vereinbart-2026": ["belt", "belt", "cards", "belt"],
        "tsuyukusa-agreed-2026": ["cards", "cards", "cards", "belt"],
    }


@pytest.mark.parametrize(
    ("vehicle", "panels", "opened_by"),
    [
        (
            Vehicle("sedan"),
            {"rail-l", "rail-r"},
            ["roof-mouldings", "roof-moulding", "roof-mouldings", "headliner-sides"],
        ),
        (
            Vehicle("wagon", ("roof-rack",)),
            {"rail-l"},
            ["roof-mouldings", "headliner-edge", "roof-mouldings", "headliner-sides"],
        ),
        (
            Vehicle("sedan"),
            {"fender-l", "fender-r", "hood"},
            ["fender-top-seals", "head-lamp", "head-lamps", "head-lamp"],
        ),
        (
            Vehicle("wagon"),
            {"quarter-l", "quarter-r"},
            ["tail-lamp", "tail-lamp", "tail-lamps", "luggage-trim"],
        ),
        (
            Vehicle("sedan"),
            {"quarter-l", "quarter-r"},
            ["tail-lamp", "tail-lamp", "tail-lamps", "tail-lamp"],
        ),
        (
            Vehicle("van"),
            {"quarter-l", "quarter-r"},
            ["tail-lamp", "load-lining", "tail-lamps", "load-panels"],
        ),
    ],
)
def test_shops_that_divide_the_work_otherwise_open_the_same_panels_otherwise(
    vehicle: Vehicle, panels: set[str], opened_by: list[str]
) -> None:
    for name, way in zip(NAMES, opened_by, strict=True):
        opening = {
            re.sub("-[lr]$", "", operation["id"])
            for index in cheapest(name, vehicle, panels)
            for operation in [operations_of(name)[index]]
            if (panels - {"hood"}) & {*operation.get("opens", [])}
        }
        assert opening == {way}, name


@every_matrix
def test_each_operation_is_the_cheapest_choice_on_some_vehicle(name: str) -> None:
    used: frozenset[int] = frozenset()
    for vehicle in vehicles():
        for panels in damages(vehicle.body):
            used |= cheapest(name, vehicle, panels)
    assert ids(name, used) == {operation["id"] for operation in operations_of(name)}


@every_matrix
def test_a_few_small_dents_in_a_door_are_glued_and_many_are_pushed(name: str) -> None:
    """The extras for glue against what has to come off: one front door, smallest dents."""
    table = table_of(name)
    tables = compile_tables(
        require_matrix(read_matrix((MATRICES / f"{name}.toml").read_text("utf-8"), name))
    )
    grid = tables.grids[tables.grid_of["door-fl"]]
    taxed = 1 + Fraction(table["tax"]["labour"]) / 100
    opening = cheapest(name, Vehicle("sedan"), {"door-fl"})
    push = sum(costs_of(name)[index][0] for index in opening)

    def glue(dents: int) -> Fraction:
        base = base_amount(grid, tables, [dents, *[0] * (len(tables.columns) - 1)])
        more = Fraction(0)
        for extra in table["extra"]:
            if extra.get("when") == {"access": "glue"}:
                more += rounded(Fraction(extra.get("percent", "0")) * base / 100)
                minutes = Fraction(extra.get("minutes", "0"))
                more += rounded(minutes * tables.repair_rate / 60)
                more += minor_units(extra.get("money", "0"), tables.decimals)
        return taxed * more

    assert glue(3) < push < glue(30)


# --- order ------------------------------------------------------------------------------------


@every_matrix
def test_a_file_lists_operations_in_an_order_in_which_they_can_be_done(name: str) -> None:
    place = {operation["id"]: index for index, operation in enumerate(operations_of(name))}
    for operation in operations_of(name):
        for before in operation.get("after", []):
            assert place[before] < place[operation["id"]], operation["id"]


@every_matrix
def test_on_every_vehicle_what_must_be_off_first_can_be_put_first(name: str) -> None:
    for vehicle in vehicles():
        has = {operation["id"]: operation for operation in of_vehicle(name, vehicle).values()}
        waits = {id_: has.keys() & operation.get("after", []) for id_, operation in has.items()}
        order = list(TopologicalSorter(waits).static_order())
        assert sorted(order) == sorted(has), vehicle


@every_matrix
@pytest.mark.parametrize("equipment", [(), EQUIPMENT])
@pytest.mark.parametrize("body", BODIES)
def test_a_sheet_with_every_panel_lists_what_comes_off_in_an_order_that_can_be_done(
    name: str, body: str, equipment: tuple[str, ...]
) -> None:
    vehicle = Vehicle(body, equipment)
    smallest = table_of(name)["matrix"]["columns"][0]
    struck = [panel(each, tally={smallest: 3}) for each in PANELS if each in PANELS_OF_BODY[body]]
    hailed = claim(*struck, body=body, vehicle={"equipment": list(equipment)})
    by_label = {operation["label"]: operation for operation in operations_of(name)}
    printed = [
        by_label[line.label]["id"]
        for line in estimate(hailed, table_of(name)).lines
        if line.kind == "removal"
    ]
    assert set(printed) == ids(name, cheapest(name, vehicle, set(PANELS_OF_BODY[body])))
    there = {operation["id"] for operation in of_vehicle(name, vehicle).values()}
    for position, id_ in enumerate(printed):
        (operation,) = (op for op in operations_of(name) if op["id"] == id_)
        assert there.intersection(operation.get("after", [])) <= set(printed[:position]), id_


# --- cautions ---------------------------------------------------------------------------------


@every_matrix
def test_every_caution_is_one_whose_text_prints(name: str) -> None:
    for operation in operations_of(name):
        keys = cautions_of(operation)
        assert set(keys) <= CAUTIONS.keys(), operation["id"]
        assert len(set(keys)) == len(keys), operation["id"]


@every_matrix
@pytest.mark.parametrize(
    ("words", "caution"),
    [
        (r"pillar|headliner|door card|bench|visor|grab handle|roof pads|cab .*trim", "airbag"),
        (r"belt moulding|glass|sunroof|windshield|liftgate.*upper", "glass"),
        (r"rear wheel-arch liner, right|luggage.* side trims?, (right|both)|bed liner", "fuel"),
        (r"head lamp|luggage.*floor|load floor|trunk floor", "high-voltage"),
        (r"roof moulding", "solvent"),
        (r"hood liner", "heat"),
        (r"bed liner|tailgate|^rear bench|roof rack|bumper cover$", "lifting"),
    ],
)
def test_work_that_can_hurt_says_so(name: str, words: str, caution: str) -> None:
    named = labelled(name, words)
    assert named
    for operation in named:
        assert caution in cautions_of(operation), operation["id"]


@every_matrix
def test_nobody_reaches_the_side_with_the_filler_without_being_told_of_fuel(name: str) -> None:
    for vehicle in vehicles():
        for each in PANELS_OF_BODY[vehicle.body].intersection({"quarter-r", "bedside-r"}):
            for way in ways_of(name, vehicle)[each]:
                told = {key for index in way for key in cautions_of(operations_of(name)[index])}
                assert "fuel" in told, (vehicle, ids(name, way))


@every_matrix
def test_between_them_the_operations_bear_every_caution(name: str) -> None:
    borne = {key for operation in operations_of(name) for key in cautions_of(operation)}
    assert borne == CAUTIONS.keys()


# --- when glue may not be used ----------------------------------------------------------------


def test_two_shops_have_rules_of_their_own_for_glue_and_two_keep_the_usual_ones() -> None:
    assert {name: table_of(name).get("access") for name in NAMES} == {
        "copperfin-2026": {"glue_repainted": "warn"},
        "larkspur-agreed-2026": None,
        "quendel-vereinbart-2026": None,
        "tsuyukusa-agreed-2026": {"glue_limit_c": "28"},
    }
