"""Hypothesis strategies: valid matrices and valid claims, mixed as widely as the rules allow.

``matrices()`` gives a matrix as a TOML reader does, ``claims(matrix)`` a claim for it as a JSON
reader does, ``priced_together()`` a pair of both. Sizes are millimetres, times minutes, money
decimal strings in the matrix's currency. A panel may be counted by tally, by single dents, by
dents with their place on a generic or an own outline, or in sample squares. Every planned panel
has a method, except in ``perhaps_refused()``.

The one idea: nothing is drawn and thrown away. Cells are running sums of steps that are never
negative, so they can't fall; an operation may only need operations made before it, so they
can't wait for each other; marks are taken within counts. And each part of a file (the head, a
grid, an extra, an operation, a panel) is made from one drawn string of bytes, read as throws of
dice with the plainest outcome at 0: that is quick, and a failing example shrinks part by part.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, TypeVar

import shapely
from hypothesis import strategies as st

from tests.plain_counting import (
    NANOMETRES,
    PlainPanel,
    area_mm2,
    covers,
    plain_panel,
    point_of,
    squared_beyond,
)
from tests.plain_planning import panels_without_method
from tests.plain_pricing import COINS, PANEL_ORDER, the_job

Table = dict[str, Any]
Draw = Callable[[st.SearchStrategy[Any]], Any]
T = TypeVar("T")

# Decimals of ISO 4217, and roughly how many of the currency one dollar's worth of work is.
CURRENCIES = {"USD": (2, 1), "EUR": (2, 1), "JPY": (0, 100), "KWD": (3, 1)}

FENDERS = ["fender-l", "fender-r"]
FRONT_DOORS = ["door-fl", "door-fr"]
DOORS = [*FRONT_DOORS, "door-rl", "door-rr"]
QUARTERS = ["quarter-l", "quarter-r"]
RAILS = ["rail-l", "rail-r"]
BEDSIDES = ["bedside-l", "bedside-r", "cab-corner-l", "cab-corner-r"]
TALL = ["hood", "roof", "liftgate", *FENDERS, *DOORS, *QUARTERS, *RAILS]

BODY_PANELS: dict[str, list[str]] = {
    "sedan": ["hood", "roof", "decklid", *FENDERS, *DOORS, *QUARTERS, *RAILS],
    "coupe": ["hood", "roof", "decklid", *FENDERS, *FRONT_DOORS, *QUARTERS, *RAILS],
    "convertible": ["hood", "decklid", *FENDERS, *FRONT_DOORS, *QUARTERS],
    "hatch": TALL,
    "wagon": TALL,
    "suv": TALL,
    "van": TALL,
    "pickup": ["hood", "roof", "tailgate", *FENDERS, *DOORS, *BEDSIDES, *RAILS],
}

BODIES = list(BODY_PANELS)
METALS = ["steel", "aluminium", "composite"]
MARKS = ["braced", "glue-only", "body-line", "sharp", "edge"]
MIXED = ["layers", "share", "largest", "most", "each"]
PERCENTS = ["0", "0.5", "1", "5", "7.25", "10", "12.5", "25", "28", "33.333", "50", "100", "175"]
VEHICLE_PERCENTS = ["-40", "-12.5", "-3.75", "0", "2.5", "10", "33.3"]
TAX_PERCENTS = ["0", "5", "6.875", "7.5", "10", "19"]
EQUIPMENT = ["sunroof", "roof-rack", "roof-antenna"]
CAUTIONS = ["airbag", "high-voltage", "glass", "fuel", "heat", "solvent", "lifting"]
GLUE_RULES = ["glue_hot", "glue_repainted", "glue_sharp", "glue_body_line"]
PLANNED_WITH_REPLACEMENT = 5
"""At most so many, so that three methods a panel stay few enough to try all of them."""
SMALLEST_SQUARE = 50
"""mm; sample squares are no smaller."""
DATES_OF_LOSS = ["2026-03-01", "2026-05-19", "2027-02-28"]


@dataclass
class Dice:
    """Throws read one after another from drawn bytes; past their end every throw is 0."""

    throws: bytes
    used: int = 0

    def throw(self) -> int:
        """0 to 255."""
        self.used += 1
        return self.throws[self.used - 1] if self.used <= len(self.throws) else 0

    def number(self, low: int, high: int) -> int:
        """From low to high, both included; up to some millions apart."""
        span = high - low + 1
        thrown = self.throw()
        if span > 100:
            thrown = (thrown * 256 + self.throw()) * 256 + self.throw()
        return low + thrown % span

    def one_of(self, values: Sequence[T]) -> T:
        return values[self.number(0, len(values) - 1)]

    def happens(self, percent: int) -> bool:
        return self.throw() * 100 >= (100 - percent) * 256

    def some_of(self, values: Sequence[T], least: int, most: int) -> list[T]:
        """Different ones of the values, in any order."""
        left = list(values)
        wanted = min(len(left), self.number(least, most))
        return [left.pop(self.number(0, len(left) - 1)) for _ in range(wanted)]

    def shuffled(self, values: Sequence[T]) -> list[T]:
        return self.some_of(values, len(values), len(values))


# Every part is given as many bytes: then Hypothesis can try one part's bytes in another's place,
# which it does a good deal; bytes of another length it would turn into noughts. The longest
# part, a grid of six bands and five columns, can need 43, a panel and a matrix's head some 90.
bytes_of_a_part = st.binary(min_size=96, max_size=96)


def dice(draw: Draw) -> Dice:
    return Dice(draw(bytes_of_a_part))


def written(units: int, decimals: int) -> str:
    """Integer units as a decimal string: 1250 with two decimals is "12.50"."""
    return str(Decimal(units).scaleb(-decimals))


def a_sum(die: Dice, currency: str, most: int) -> str:
    """Money, up to so many dollars' worth; sometimes written without the decimals it may have."""
    decimals, worth = CURRENCIES[currency]
    if decimals == 0 or die.happens(30):
        return str(die.number(0, most * worth))
    return written(die.number(0, most * 10**decimals), decimals)


def a_rate(die: Dice, currency: str, tiny: int) -> str:
    """Money an hour; at so many in a hundred so little that rounding decides what is cheaper."""
    if die.happens(tiny):
        return written(die.number(1, 25), CURRENCIES[currency][0])
    return a_sum(die, currency, 150)


def some_minutes(die: Dice, most: int) -> str:
    if die.happens(50):
        return written(die.number(0, most * 4) * 25, 2)
    return str(die.number(0, most))


# --- the matrix -------------------------------------------------------------------------------


@st.composite
def matrices(draw: Draw) -> Table:
    """A valid matrix file, with any mixture of what a matrix can have."""
    die = dice(draw)
    head = matrix_head(die)
    currency = head["currency"]
    matrix: Table = {
        "matrix": head,
        "rates": {"repair": a_rate(die, currency, 5), "removal": a_rate(die, currency, 30)},
    }
    if die.happens(75):
        minutes, further = some_minutes(die, 90), some_minutes(die, 8)
        matrix["oversize"] = {"minutes": minutes, "minutes_per_mm": further}
    if die.happens(60):
        groups = ("labour", "parts", "sublet")
        matrix["tax"] = {group: die.one_of(TAX_PERCENTS) for group in groups}
    if die.happens(60):
        matrix["access"] = rules_on_glue(die)

    count = die.number(1, 3)
    matrix["grid"] = [
        {"name": f"grid-{place}", "panels": panels, **bands_and_rows(dice(draw), head)}
        for place, panels in enumerate(shared_out(dice(draw), count))
    ]
    extras = [an_extra(dice(draw), currency, place) for place in range(die.number(0, 6))]
    if extras or die.happens(50):
        matrix["extra"] = with_few_discounts(extras)
    operations = removal_operations(draw, currency, die.one_of([0, 3, 9, 6, 2, 7, 10, 8]))
    if operations or die.happens(50):
        matrix["removal"] = operations
    return matrix


def rules_on_glue(die: Dice) -> Table:
    """Some of the rules, each with a force of its own; the others are as they are by default."""
    rules: Table = {rule: die.one_of(["allow", "warn", "forbid"]) for rule in GLUE_RULES}
    rules["glue_limit_c"] = die.one_of(["30", "28", "24.5", "31.25", "0"])
    return {key: rules[key] for key in die.some_of(list(rules), 0, len(rules))}


def matrix_head(die: Dice) -> Table:
    coins, sizes = a_coin_set(die)
    # Of a set's coins a few are columns; one column only is allowed, but seldom.
    columns = set(die.some_of(list(sizes), 1 if die.happens(15) else 2, 5))
    head: Table = {
        "name": die.one_of(["larkspur-a", "larkspur-b", "quillwort-2026"]),
        "currency": die.one_of(list(CURRENCIES)),
        "effective": dt.date(2026, 3, 1),
        "coins": coins,
        "columns": [name for name in sizes if name in columns],
        "cells": die.one_of(["minutes", "money"]),
        "mixed": die.one_of(MIXED),
        "within_band": die.one_of(["flat", "ramp"]),
        "stacking": die.one_of(["add", "compound"]),
    }
    if die.happens(50):
        head |= {"title": "Larkspur rates", "revision": 3, "locale": "en_US"}
    if die.happens(50):
        head["insurer"] = "Quillwort Mutual (invented)"
    if die.happens(50):
        head["until"] = dt.date(2027, 2, 28)
    if die.happens(50):
        head["minimum"] = a_sum(die, head["currency"], die.one_of([150, 2000]))
    if die.happens(30):
        head["sample_from"] = 1
    return head


def a_coin_set(die: Dice) -> tuple[str | list[Table], dict[str, Decimal]]:
    """What stands under ``coins``, and the size of every coin that a tally may then name."""
    kind = die.one_of([*COINS, "own"])
    if kind != "own":
        return kind, {name: Decimal(mm) for name, mm in COINS[kind].items()}
    sizes: dict[str, Decimal] = {}
    tenths = 80
    for place in range(1, die.number(1, 5) + 1):
        tenths += die.number(1, 60)
        sizes[f"disc-{place}"] = Decimal(tenths).scaleb(-1)
    source = "the shop's own gauge"
    coins = [{"name": name, "mm": str(mm), "source": source} for name, mm in sizes.items()]
    return coins, sizes


def shared_out(die: Dice, count: int) -> list[list[str]]:
    """The panels of each grid; the hood is always in one, a few panels may be in none."""
    grids: list[list[str]] = [[] for _ in range(count)]
    for place, panel in enumerate(PANEL_ORDER):
        byte = die.throw()
        if byte < 235 or place == 0:
            grids[byte % count].append(panel)
    return [panels for panels in grids if panels]


def bands_and_rows(die: Dice, head: Table) -> Table:
    bands = [1]
    for _ in range(die.number(0, 5)):
        bands.append(bands[-1] + die.number(1, 9))
    last = bands[-1] + die.number(0, 9)
    width = len(head["columns"])
    steps = [die.number(0, 39) for _ in range(len(bands) * width)]
    units = rising_cells(steps, len(bands), width, layered=head["mixed"] == "layers")
    return {"bands": bands, "last": last, "rows": written_cells(die, head, units)}


def rising_cells(steps: Sequence[int], height: int, width: int, layered: bool) -> list[list[int]]:
    """Cells that fall neither downwards nor to the right.

    Layered: the step from each column to the next is itself a running sum down the rows, so
    that no step between sizes falls as the count grows.
    """
    cells = [[0] * width for _ in range(height)]
    for row in range(height):
        for column in range(width):
            above = cells[row - 1][column] if row else 0
            left = cells[row][column - 1] if column else 0
            corner = cells[row - 1][column - 1] if row and column else 0
            floor = above + left - corner if layered else max(above, left)
            cells[row][column] = floor + steps[row * width + column]
    return cells


def written_cells(die: Dice, head: Table, units: list[list[int]]) -> list[list[int | str]]:
    """Rising units as the cells of a file: whole numbers, decimal strings, or some of each.

    All cells are scaled alike, which leaves them, and the steps between them, rising.
    """
    decimals, worth = CURRENCIES[head["currency"]]
    if head["cells"] == "minutes":
        decimals, worth = die.number(0, 2), 1
    style = die.one_of(["whole numbers", "strings", "some of each"])
    if style == "whole numbers":
        decimals = 0
    # In quarters of the unit, so that some of them are whole numbers; or in odd bits of it.
    scale = worth * die.one_of([max(1, 10**decimals // 4), 7 * 10 ** max(0, decimals - 2)])

    def cell(number: int) -> int | str:
        value = Decimal(number * scale).scaleb(-decimals)
        if style != "strings" and value == int(value):
            return int(value)
        return str(value)

    return [[cell(number) for number in row] for row in units]


def an_extra(die: Dice, currency: str, place: int) -> Table:
    of = die.one_of(["panel", "affected", "vehicle", "panel", "affected"])
    extra: Table = {"id": f"extra-{place}", "label": f"Extra {place}"}
    if of != "vehicle":
        extra["when"] = conditions(die)
    elif die.happens(40):
        extra["when"] = {"body": die.some_of(BODIES, 4, 8)}
    elif die.happens(50):
        extra["when"] = {}
    if of != "panel" or die.happens(50):
        extra["of"] = of

    worth = die.one_of(["percent", "minutes", "money", "percent"])
    if worth == "percent":
        extra["percent"] = die.one_of(VEHICLE_PERCENTS if of == "vehicle" else PERCENTS)
    elif worth == "minutes":
        extra["minutes"] = some_minutes(die, 25)
    else:
        extra["money"] = a_sum(die, currency, 40)
    if worth != "percent" and of != "vehicle" and die.happens(75):
        extra["per"] = die.one_of(["panel", "dent", "dent"])
    return extra


def conditions(die: Dice) -> Table:
    """One to three things that a panel must be; most often one."""
    keys = ["mark", "access", "metal", "mark", "access", "repainted", "panel", "body"]
    wanted = {die.one_of(keys)}
    if die.happens(50):
        wanted |= {die.one_of(keys), die.one_of(keys)}
    when: Table = {}
    if "metal" in wanted:
        when["metal"] = die.one_of(METALS)
    if "access" in wanted:
        when["access"] = die.one_of(["push", "glue"])
    if "repainted" in wanted:
        when["repainted"] = die.happens(50)
    if "mark" in wanted:
        when["mark"] = die.one_of(MARKS)
    if "panel" in wanted:
        when["panel"] = die.some_of(PANEL_ORDER, 5, 12)
    if "body" in wanted:
        when["body"] = die.some_of(BODIES, 3, 8)
    return when


def with_few_discounts(extras: list[Table]) -> list[Table]:
    """At most two discounts on the vehicle, so that a sheet can't fall below nothing."""
    discounts = 0
    for extra in extras:
        if extra.get("percent", "").startswith("-"):
            discounts += 1
            if discounts > 2:
                extra["percent"] = extra["percent"].removeprefix("-")
    return extras


def removal_operations(draw: Draw, currency: str, count: int) -> list[Table]:
    """Operations of which several open the same few panels, and some wait for others.

    They are made in an order in which the work could be done, and then shuffled into another
    in which the file lists them.
    """
    if count == 0:
        return []
    die = dice(draw)
    # These panels are on nearly every body: what opens them matters to nearly every claim.
    panels = die.some_of(PANEL_ORDER[:15], 3, 9)
    operations: list[Table] = []
    for _ in range(count):
        operations.append(an_operation(dice(draw), currency, panels, operations))
    needed = {other for operation in operations for other in operation.get("after", [])}
    for operation in operations:
        if not operation.get("opens") and operation["id"] not in needed:
            operation["opens"] = [die.one_of(panels)]
    for operation in operations:
        of_some_vehicles(die, operation)
    return die.shuffled(operations)


def of_some_vehicles(die: Dice, operation: Table) -> None:
    """Sometimes only some bodies have it, each with a panel it opens, or only equipped ones."""
    opens = operation.get("opens") or []
    if die.happens(25):
        bodies = [
            body for body in BODIES if not opens or any(name in BODY_PANELS[body] for name in opens)
        ]
        operation["body"] = die.some_of(bodies, 2, 7)
        there = {name for body in operation["body"] for name in BODY_PANELS[body]}
        if opens:
            operation["opens"] = [name for name in opens if name in there]
    if die.happens(25):
        operation["equipment"] = die.one_of(EQUIPMENT)


def an_operation(die: Dice, currency: str, panels: Sequence[str], before: Sequence[Table]) -> Table:
    operation: Table = {"id": f"off-{len(before)}", "label": f"Part {len(before)}"}
    # Few different times, so that two ways often cost the same.
    operation["minutes"] = die.one_of(["6", "12", "18", "12.0", "0", "7.5", "33.25"])
    if die.happens(75):
        operation["after"] = die.some_of([other["id"] for other in before], 0, 3)
    if die.happens(80):
        operation["opens"] = die.some_of(panels, 0 if die.happens(25) else 1, 3)
    if die.happens(50):
        operation["fasteners"] = die.number(0, 12)
    if die.happens(60):
        operation["fastener_price"] = a_sum(die, currency, 3)
    if die.happens(20):
        operation["caution"] = die.one_of(["", *CAUTIONS])
    elif die.happens(15):
        operation["caution"] = die.some_of(CAUTIONS, 0, 3)
    return operation


# --- the claim --------------------------------------------------------------------------------


@st.composite
def claims(draw: Draw, matrix: Table, refused: bool = False) -> Table:
    """A valid claim that names the matrix.

    With `refused` a planned panel may be left without a method, which is a mistake by the rules.
    """
    die = dice(draw)
    head = matrix["matrix"]
    currency = head["currency"]
    body = die.one_of(BODIES)
    claim: Table = {
        "claim": {"number": "C-1", "date_of_loss": die.one_of(DATES_OF_LOSS)},
        "vehicle": a_vehicle(die, body),
        "matrix": head["name"],
    }
    if die.happens(70):
        claim["vehicle"]["equipment"] = die.some_of(EQUIPMENT, 1, 3)
    mixed = ["push"] * 4 + ["plan"] * 4 + ["glue"] * 2
    accesses = die.one_of([mixed, ["plan"] * 10, mixed, ["plan"] * 10, ["push"] * 10])
    claim["panels"] = [
        on_its_outline(draw, a_panel(dice(draw), matrix, name, accesses), claim["vehicle"], matrix)
        for name in hit_panels(die, matrix, body)
    ]
    few_replacements(claim["panels"])
    if refused:
        for panel in claim["panels"]:
            if panel.get("access") == "plan" and die.happens(60):
                hard_to_reach(die, panel)
    if die.happens(45):
        claim["aim"] = die.one_of(["minutes", "minutes", "cost"])
    if die.happens(50):
        claim["conditions"] = {"panel_temperature_c": a_temperature(die, matrix)}
    if die.happens(60):
        claim["claim"]["deductible"] = a_sum(die, currency, die.one_of([300, 3000]))
    if die.happens(50):
        claim["claim"] |= {"customer": "Ada Quillwort", "dated": "2027-03-02"}
        if "insurer" in head:
            claim["claim"]["insurer"] = head["insurer"]
    if die.happens(50):
        claim["other"] = [other_work(die, currency) for _ in range(die.number(0, 4))]
    if not refused:
        for place in panels_without_method(the_job(claim, matrix)):
            a_way_out(die, claim["panels"][place], currency)
    return claim


def hard_to_reach(die: Dice, panel: Table) -> None:
    """Every dent glue-only, unless there are squares; perhaps repainted, and with no price."""
    if panel.get("tally"):
        panel["marked"] = {**panel.get("marked", {}), "glue-only": dict(panel.get("tally", {}))}
    for dent in [*panel.get("dents", []), *panel.get("oversize", [])]:
        dent["marks"] = sorted({*dent.get("marks", []), "glue-only"})
    if die.happens(60):
        panel["repainted"] = True
    if die.happens(70):
        panel.pop("replace_cost", None)


def few_replacements(panels: list[Table]) -> None:
    """No more planned panels with three methods than can be tried out."""
    planned = [panel for panel in panels if panel.get("access") == "plan"]
    for panel in [panel for panel in planned if "replace_cost" in panel][PLANNED_WITH_REPLACEMENT:]:
        del panel["replace_cost"]
        panel.pop("replace_minutes", None)


def a_temperature(die: Dice, matrix: Table) -> int | float:
    """Of the panels, °C: at the limit for glue, a little to either side, or well off it."""
    limit = Decimal(matrix.get("access", {}).get("glue_limit_c", "30"))
    off = die.one_of(["0", "-0.5", "0.1", "0.01", "-0.01", "-6", "12"])
    return json_number(limit + Decimal(off))


def a_way_out(die: Dice, panel: Table, currency: str) -> None:
    """For a panel without a method: a replacement, or glue because somebody says so."""
    if die.happens(60):
        panel["replace_cost"] = a_sum(die, currency, 300)
        panel.pop("agreed", None)
    else:
        panel["access"] = "glue"


def a_vehicle(die: Dice, body: str) -> Table:
    """A body, sometimes with overall sizes that its generic outlines are scaled to."""
    vehicle: Table = {"body": body}
    if die.happens(20):
        sizes = {"length_mm": (2000, 9000), "width_mm": (1000, 2600), "height_mm": (900, 3500)}
        for key in die.some_of(list(sizes), 1, 3):
            vehicle[key] = die.number(*sizes[key])
    return vehicle


def other_work(die: Dice, currency: str) -> Table:
    kind = die.one_of(["part", "sublet", "refinish", "body"])
    return {
        "kind": kind,
        "label": f"Some {kind}",
        "quantity": 9999 if die.happens(4) else die.number(1, 12),
        "unit_price": a_sum(die, currency, 150),
    }


def hit_panels(die: Dice, matrix: Table, body: str) -> list[str]:
    """Up to eight panels in any order, often the ones that something must come off for."""
    on_it = BODY_PANELS[body]
    opened = {name for work in matrix.get("removal", []) for name in work.get("opens", [])}
    names = die.some_of([name for name in on_it if name in opened], die.one_of([1, 4]), 6)
    names += die.some_of([name for name in on_it if name not in names], 0, die.one_of([3, 1]))
    return die.shuffled(names)


def a_panel(die: Dice, matrix: Table, name: str, accesses: Sequence[str]) -> Table:
    """One panel, what is usual sometimes left out."""
    currency = matrix["matrix"]["currency"]
    panel: Table = {"panel": name}
    if die.happens(70):
        panel["metal"] = die.one_of(METALS)
    if die.happens(60):
        panel["repainted"] = die.happens(60)
    access = die.one_of([*accesses, *accesses, "replace"])
    if access != "push" or die.happens(60):
        panel["access"] = access

    if die.happens(30):
        panel["dents"] = measured_dents(die, matrix)
    else:
        panel |= a_tally(die, matrix, last_of(matrix, name))

    if access == "replace" or die.happens(35 if access == "plan" else 10):
        # Often so little that it may well be worth while.
        panel["replace_cost"] = a_sum(die, currency, die.one_of([900, 150, 40, 0]))
    if die.happens(60 if "replace_cost" in panel else 4):
        panel["replace_minutes"] = some_minutes(die, die.one_of([60, 15]))
    if access == "plan" and die.happens(70):
        easy_to_glue(panel)
    if access != "replace" and die.happens(10):
        panel["agreed"] = a_sum(die, currency, 700)
    elif die.happens(20):
        panel["agreed"] = None
    return panel


def easy_to_glue(panel: Table) -> None:
    """Nothing on the panel that most shops will not glue."""
    panel["repainted"] = False
    for mark in ("sharp", "body-line"):
        panel.get("marked", {}).pop(mark, None)
        for dent in [*panel.get("dents", []), *panel.get("oversize", [])]:
            if mark in dent.get("marks", []):
                dent["marks"].remove(mark)


# --- on the panel -----------------------------------------------------------------------------


def on_its_outline(draw: Draw, panel: Table, vehicle: Table, matrix: Table) -> Table:
    """A panel as it is, or with an own outline, places for its dents, or squares for its tally."""
    die = dice(draw)
    kind = die.one_of(["as it is"] * 5 + ["places"] * 4 + ["squares"] * 2 + ["outline alone"])
    places = kind == "places" and panel.get("dents")
    squares = kind == "squares" and "dents" not in panel
    if places or squares or kind == "outline alone":
        if die.happens(60):
            panel |= an_own_outline(die, small=squares)
        elif die.happens(20) and not panel["panel"].startswith("rail"):
            panel["zones"] = [{"kind": "edge", "reach_mm": die.one_of([5, 20, 12.5])}]
    if places:
        places_of_dents(dice(draw), panel, plain_panel(panel, vehicle))
    if squares and widest_circle(plain_panel(panel, vehicle)) >= SMALLEST_SQUARE:
        for key in ("tally", "marked"):
            panel.pop(key, None)
        panel["sample"] = sample_squares(dice(draw), panel, vehicle, matrix)
    return panel


def an_own_outline(die: Dice, small: bool) -> Table:
    """A plate with a corner off, a notch or a hole, anywhere on its plane, and zones on it.

    Zones keep to the left half and the bottom, where nothing is missing.
    """
    width, height = (die.number(120, 300), die.number(110, 200)) if small else (1200, 800)
    left, bottom = die.one_of([(0, 0), (250, 300), (-400, 900)])
    half = width // 2

    def at(*points: tuple[int, int]) -> list[list[int]]:
        return [[left + x, bottom + y] for x, y in points]

    corner: list[tuple[int, int]] = die.one_of(
        [
            [(width, height)],
            [(width, height - 60), (width - 80, height)],
            [(width, height - 60), (width - 50, height - 60), (width - 50, height)],
        ]
    )
    rings = [at((0, 0), (width, 0), *corner, (0, height), (0, 0))]
    if not small and die.happens(30):
        rings.append(at((700, 300), (900, 350), (850, 500), (700, 300)))
    kinds = {
        "area": at((0, 0), (half, 20), (half - 20, height // 2), (0, 0)),
        "line": at((10, 10), (half, 40), (half - 10, height - 60)),
    }
    zones: list[Table] = []
    for _ in range(die.number(0, 4)):
        kind = die.one_of(["braced", "glue-only", "edge", "body-line", "body-line"])
        form = "line" if kind == "body-line" else die.one_of(["area", "line", "area"])
        zone: Table = {"kind": kind}
        if kind == "edge" and die.happens(50):
            form = "border"
        else:
            points = kinds[form]
            name, nested = ("Polygon", [points]) if form == "area" else ("LineString", points)
            zone["shape"] = as_wkt_or_geojson(die, name, nested)
        if form != "area" and (kind != "body-line" or die.happens(30)):
            zone["reach_mm"] = die.one_of([20, 3, 12.5])
        zones.append(zone)
    outline = as_wkt_or_geojson(die, "Polygon", rings)
    return {"outline": outline} | ({"zones": zones} if zones else {})


def as_wkt_or_geojson(die: Dice, name: str, nested: list[Any]) -> Any:
    """Nested lists of coordinates as WKT text or as a GeoJSON geometry."""
    if die.happens(50):
        return {"type": name, "coordinates": nested}

    def path(points: list[list[int]]) -> str:
        return "(" + ", ".join(f"{x} {y}" for x, y in points) + ")"

    if name == "LineString":
        return f"LINESTRING {path(nested)}"
    return f"POLYGON ({', '.join(path(ring) for ring in nested)})"


def places_of_dents(die: Dice, panel: Table, shape: PlainPanel) -> None:
    """A place on the panel for each of its dents, many of them exactly on a border."""
    rings = [*shape.rings, *(path for zone in shape.zones for path in zone.paths)]
    points = [point for ring in rings for point in ring]
    xs, ys = zip(*shape.rings[0], strict=True)
    for dent in panel["dents"]:
        if die.happens(35):
            x, y = (
                die.number(min(axis) // NANOMETRES, max(axis) // NANOMETRES) for axis in (xs, ys)
            )
            tried = (
                Decimal(x) + die.one_of([Decimal(0), Decimal("0.25"), Decimal("0.7")]),
                Decimal(y),
            )
        else:
            ring = die.one_of(rings)
            first = die.number(0, len(ring) - 2)
            (a, b), (c, d) = ring[first], ring[first + 1]
            # A corner, the middle between two, or off that by a zone's reach or by a few mm.
            middle = die.happens(60)
            aside = Decimal(die.one_of([0, 0, 0, 20, -20, 3, -3, 5, -5, 12.5]))
            x_mm = Decimal((a + c) // 2 if middle else a).scaleb(-6)
            y_mm = Decimal((b + d) // 2 if middle else b).scaleb(-6)
            tried = (x_mm + aside, y_mm) if die.happens(50) else (x_mm, y_mm + aside)
        if squared_beyond(shape, point_of(tried)) > 25:
            near = [Decimal(n).scaleb(-6) for n in die.one_of(points)]
            tried = near[0], near[1]
        dent["x"], dent["y"] = json_number(tried[0]), json_number(tried[1])
    if len({(dent["x"], dent["y"]) for dent in panel["dents"]}) == 1:
        # One place for all near the origin would look like degrees.
        del panel["dents"][1:]
        if not covers(shape.rings, point_of((panel["dents"][0]["x"], panel["dents"][0]["y"]))):
            panel["dents"][0] |= {
                "x": json_number(Decimal(points[0][0]).scaleb(-6)),
                "y": json_number(Decimal(points[0][1]).scaleb(-6)),
            }


def sample_squares(die: Dice, panel: Table, vehicle: Table, matrix: Table) -> Table:
    """Squares that fit on a panel, with at least one dent; those of an own outline may be placed.

    Every square names its coins from the smallest up.
    """
    shape = plain_panel(panel, vehicle)
    xs, ys = zip(*shape.rings[0], strict=True)
    # A square wider than the widest circle fits nowhere.
    side = min(die.one_of([200, 100, 150, SMALLEST_SQUARE, 60]), widest_circle(shape))
    most = max(1, min(6, int(area_mm2(shape.rings) / side**2)))
    coins = [coin for coin, _ in sorted(coins_and_largest(matrix)[0].items(), key=lambda c: c[1])]
    squares: list[Table] = []
    for _ in range(die.number(1, most)):
        tally = {coin: die.one_of([0, 1, 2, 1, 3, 7]) for coin in coins[:4] if die.happens(70)}
        square: Table = {"tally": tally}
        if die.happens(40):
            mark = die.one_of(MARKS)
            square["marked"] = {mark: {coin: die.number(0, n) for coin, n in tally.items()}}
        squares.append(square)
    if not any(sum(square["tally"].values()) for square in squares):
        squares[0] = {"tally": {coins[0]: 3}}
    # All coins in the first square, so that none stands earlier than a smaller one.
    squares[0]["tally"] = {coin: squares[0]["tally"].get(coin, 0) for coin in coins[:4]}
    if panel.get("outline") and side <= SMALLEST_SQUARE and die.happens(60):
        left, bottom = min(xs) // NANOMETRES, min(ys) // NANOMETRES
        del squares[2:]
        if not any(sum(square["tally"].values()) for square in squares):
            squares[0]["tally"][coins[0]] = 2
        for place, square in enumerate(squares):
            square["at"] = [left, bottom + place * side]
    return {"side_mm": side, "squares": squares}


def widest_circle(shape: PlainPanel) -> int:
    """The diameter of the widest circle on a panel, in whole mm."""
    rings = [[(x / NANOMETRES, y / NANOMETRES) for x, y in ring] for ring in shape.rings]
    circle = shapely.maximum_inscribed_circle(shapely.Polygon(rings[0], rings[1:]), 1.0)
    return int(2 * shapely.length(circle))


def last_of(matrix: Table, name: str) -> int:
    """The highest count that is priced on a panel; any number where none is."""
    return int(next((grid["last"] for grid in matrix["grid"] if name in grid["panels"]), 20))


def coins_and_largest(matrix: Table) -> tuple[dict[str, Decimal], Decimal]:
    """The coins a tally may name under a matrix, with their sizes; and the largest column's."""
    coins = matrix["matrix"]["coins"]
    if isinstance(coins, str):
        sizes = {name: Decimal(mm) for name, mm in COINS[coins].items()}
    else:
        sizes = {coin["name"]: Decimal(coin["mm"]) for coin in coins}
    largest = sizes[matrix["matrix"]["columns"][-1]]
    return {name: mm for name, mm in sizes.items() if mm <= largest}, largest


def a_tally(die: Dice, matrix: Table, last: int) -> Table:
    """A count by coin, mostly of no more dents than are priced, and what is marked of it."""
    coins, largest = coins_and_largest(matrix)
    names = die.some_of(list(coins), 0 if die.happens(8) else 1, 4)
    left = how_many(die, last)
    tally: dict[str, int] = {}
    for coin in names[1:]:
        tally[coin] = die.number(0, left)
        left -= tally[coin]
    if names:
        tally[names[0]] = left

    panel: Table = {}
    if tally or die.happens(50):
        panel["tally"] = tally
    if die.happens(30):
        panel["oversize"] = [a_dent_beyond(die, largest) for _ in range(die.number(0, 3))]
    if die.happens(10):
        panel["marked"] = {"glue-only": dict(tally)}
        for dent in panel.get("oversize", []):
            if "glue-only" not in dent["marks"] and die.happens(70):
                dent["marks"].append("glue-only")
    elif die.happens(70):
        panel["marked"] = {
            mark: {coin: die.number(0, count) for coin, count in tally.items() if die.happens(70)}
            for mark in die.some_of(MARKS, 0, 4)
        }
    return panel


def how_many(die: Dice, last: int) -> int:
    """Dents on a panel: few, any number that is priced, and now and then too many."""
    if die.happens(15):
        return die.number(max(1, last - 1), last + 2)
    return die.number(1, last if die.happens(80) else min(4, last))


def marks_of_one(die: Dice) -> list[str]:
    return die.some_of(MARKS, 0, 1 if die.happens(70) else 3)


def json_number(mm: Decimal) -> int | float:
    return int(mm) if mm == int(mm) else float(mm)


def a_dent_beyond(die: Dice, largest: Decimal) -> Table:
    """A dent larger than a size: by a hundredth of a millimetre, or by up to some centimetres."""
    hundredths = die.one_of([50, 1, 25]) * die.one_of([1, 2, 3, 9, 28, 51])
    mm = largest + Decimal(hundredths).scaleb(-2)
    dent: Table = {"mm": json_number(mm), "marks": marks_of_one(die)}
    return dent


def measured_dents(die: Dice, matrix: Table) -> list[Table]:
    """Dents with a size each: anywhere, exactly a coin's, or beyond the largest."""
    coins, largest = coins_and_largest(matrix)
    all_to_glue = die.happens(10)
    dents: list[Table] = []
    for _ in range(die.number(0, 10)):
        if die.happens(12):
            dents.append(a_dent_beyond(die, largest))
        elif die.happens(25):
            dents.append({"mm": json_number(die.one_of(list(coins.values())))})
        else:
            tenths = die.number(10, int(largest * 10))
            dents.append(
                {"mm": json_number(Decimal(tenths).scaleb(-1)), "marks": marks_of_one(die)}
            )
    if all_to_glue:
        for dent in dents:
            dent["marks"] = sorted({*dent.get("marks", []), "glue-only"})
    return dents


@st.composite
def priced_together(draw: Draw) -> tuple[Table, Table]:
    """A claim, and the matrix it is priced under."""
    matrix = draw(matrices())
    return draw(claims(matrix)), matrix


@st.composite
def perhaps_refused(draw: Draw) -> tuple[Table, Table]:
    """The same, where a planned panel may have no method at all."""
    matrix = draw(matrices())
    return draw(claims(matrix, refused=True)), matrix


# --- plans that are nearly equal --------------------------------------------------------------


@st.composite
def close_plans(draw: Draw) -> tuple[Table, Table]:
    """Planned panels alike in price, with trim and extras that cost about what choosing saves.

    Sums are a few cents to a few dollars, so that taxes, extras on the vehicle, the minimum and
    what panels share decide; in `priced_together` the panels' own prices mostly do.
    """
    die = dice(draw)
    names = die.some_of(BODY_PANELS["sedan"], 2, 5)
    cells = [die.number(2, 30) for _ in range(3)]
    matrix: Table = {
        "matrix": {
            "name": "larkspur-a",
            "currency": "USD",
            "effective": dt.date(2026, 3, 1),
            "coins": "us",
            "columns": ["dime"],
            "cells": die.one_of(["money", "minutes"]),
            "mixed": "layers",
            "within_band": "flat",
            "stacking": "add",
            "minimum": written(die.one_of([0, 1]) * die.number(0, 12_000), 2),
        },
        "rates": {
            "repair": die.one_of(["90.00", "61.37", "0.77"]),
            "removal": die.one_of(["60.00", "45.11", "0.13"]),
        },
        "grid": [
            {
                "name": "all",
                "panels": PANEL_ORDER,
                "bands": [1, 2, 3],
                "last": 5,
                "rows": [[cell] for cell in sorted(cells)],
            }
        ],
        "oversize": {"minutes": "9", "minutes_per_mm": "0.5"},
        "extra": [
            {
                "id": "extra-0",
                "label": "Extra 0",
                "when": {"access": "glue"},
                "percent": die.one_of(["5", "12.5", "28", "33.333"]),
            },
            *(once_a_vehicle(dice(draw), place) for place in range(1, die.number(1, 4))),
        ],
        "removal": [some_trim(dice(draw), names, place) for place in range(die.number(0, 6))],
        "tax": {
            "labour": die.one_of(["0", "7.5", "19", "50"]),
            "parts": die.one_of(["0", "7.5", "19"]),
        },
    }
    panels = [a_like_panel(dice(draw), name, max(cells)) for name in names]
    claim: Table = {
        "claim": {"number": "C-1", "date_of_loss": "2026-05-19"},
        "vehicle": {"body": "sedan"},
        "matrix": "larkspur-a",
        "aim": die.one_of(["cost", "cost", "minutes"]),
        "panels": panels,
    }
    if die.happens(30):
        claim["other"] = [other_work(die, "USD")]
    return claim, matrix


def once_a_vehicle(die: Dice, place: int) -> Table:
    worth = die.one_of(["percent", "money", "percent", "minutes"])
    amount = die.one_of(["3.75", "-12.5", "33.3"] if worth == "percent" else ["7", "0.13", "11"])
    return {"id": f"extra-{place}", "label": f"Extra {place}", "of": "vehicle", worth: amount}


def some_trim(die: Dice, panels: Sequence[str], place: int) -> Table:
    operation: Table = {
        "id": f"off-{place}",
        "label": f"Part {place}",
        "minutes": die.one_of(["3", "0", "6", "7.5"]),
        "opens": die.some_of(panels, 1, 3),
    }
    if place and die.happens(40):
        operation["after"] = [f"off-{die.number(0, place - 1)}"]
    if die.happens(60):
        operation |= {
            "fasteners": die.number(1, 12),
            "fastener_price": written(die.number(0, 200), 2),
        }
    return operation


def a_like_panel(die: Dice, name: str, dear: int) -> Table:
    panel: Table = {"panel": name, "access": die.one_of(["plan"] * 7 + ["push"])}
    panel["tally"] = {"dime": die.number(1, 5)}
    if die.happens(20):
        panel["oversize"] = [{"mm": 20}]
    if die.happens(40):
        panel["replace_cost"] = written(die.number(0, 200 * dear), 2)
    if die.happens(30):
        panel["replace_minutes"] = some_minutes(die, dear)
    return panel
