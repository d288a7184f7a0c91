"""The pricing rules a second time: plain, slow, and sharing nothing with the product.

Holds ``price_plainly``, which prices one claim under one matrix, both plain dicts as a JSON or
TOML reader gives them. Sizes are millimetres, times are minutes, rates are money an hour;
amounts that come out are integers of the currency's minor unit.

The one idea: every panel is written out dent by dent, every figure is an exact fraction, and
each rule is then a sentence about that list of dents. What the panel's outline says of a dent,
and what sample squares stand for, is ``plain_counting``'s; how panels with access "plan" are
reached is ``plain_planning``'s. Nothing is prepared or tabulated, and the cheapest removal is
found by trying every combination of one way a panel. Invalid claims and matrices are somebody
else's concern: what is given here is taken to be valid.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from math import floor
from typing import Any, NamedTuple

from iso4217 import Currency

from tests.plain_counting import PlainEdge, counted_panel, plain_edges

Table = Mapping[str, Any]

# Diameters in millimetres, smallest first. us: the United States Mint's coin specifications;
# eu: Council Regulation (EU) No 729/2014, Annex I; uk: the Royal Mint's specifications, the
# pound point to point.
COINS: dict[str, dict[str, str]] = {
    "us": {
        "dime": "17.91",
        "cent": "19.05",
        "nickel": "21.21",
        "quarter": "24.26",
        "dollar": "26.49",
        "half-dollar": "30.61",
    },
    "eu": {
        "1c": "16.25",
        "2c": "18.75",
        "10c": "19.75",
        "5c": "21.25",
        "20c": "22.25",
        "1-euro": "23.25",
        "50c": "24.25",
        "2-euro": "25.75",
    },
    "uk": {
        "5p": "18.0",
        "1p": "20.3",
        "20p": "21.4",
        "1-pound": "23.43",
        "10p": "24.5",
        "2p": "25.9",
        "50p": "27.3",
        "2-pound": "28.4",
    },
}

PANEL_ORDER = [
    "hood",
    "roof",
    "decklid",
    "liftgate",
    "tailgate",
    "fender-l",
    "fender-r",
    "door-fl",
    "door-fr",
    "door-rl",
    "door-rr",
    "quarter-l",
    "quarter-r",
    "rail-l",
    "rail-r",
    "bedside-l",
    "bedside-r",
    "cab-corner-l",
    "cab-corner-r",
]

# At which part of a vehicle one stands to take off what opens a panel.
PARTS_OF_THE_VEHICLE = {
    "front": {"hood", "fender-l", "fender-r"},
    "left side": {"door-fl", "door-rl"},
    "right side": {"door-fr", "door-rr"},
    "rear": {
        "decklid",
        "liftgate",
        "tailgate",
        "quarter-l",
        "quarter-r",
        "bedside-l",
        "bedside-r",
        "cab-corner-l",
        "cab-corner-r",
    },
    "roof": {"roof", "rail-l", "rail-r"},
}

LABOUR = {"repair", "oversize", "extra", "removal", "refinish", "body", "minimum"}
PARTS = {"part", "fastener"}
SUBLET = {"sublet"}


class PlainLine(NamedTuple):
    """One line of the sheet.

    ``hint`` tells lines of a kind apart: the id of an extra or of a removal operation (a
    fastener line has its operation's), the label of an other line, the group a tax is raised
    on; otherwise it is empty. ``amount`` is None where the matrix gives no price.
    """

    kind: str
    panel: str | None
    hint: str
    amount: int | None


@dataclass(frozen=True)
class PlainSheet:
    """The lines in printed order, and the totals in minor units.

    ``methods`` has the method of every planned panel.
    """

    lines: list[PlainLine]
    subtotal: int
    tax: int
    total: int
    deductible: int
    net: int
    complete: bool
    methods: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Dent:
    """One dent: the place of its column in the matrix, None where it is oversize."""

    column: int | None
    mm: Fraction | None
    marks: frozenset[str]


@dataclass(frozen=True)
class Job:
    """What every rule needs at hand; ``methods`` by the names of the planned panels."""

    claim: Table
    matrix: Table
    decimals: int
    methods: Mapping[str, str] = field(default_factory=dict)

    def money(self, text: Any) -> int:
        """A written sum in minor units; a sum with too many decimals is refused."""
        minor: Fraction = exact(text) * 10**self.decimals
        if minor.denominator != 1:
            raise ValueError(f"{text} has more decimals than the currency's {self.decimals}")
        return minor.numerator

    def time(self, minutes: Fraction, rate: str) -> int:
        """Minutes at a rate an hour, rounded to the minor unit."""
        return half_away(minutes * self.money(self.matrix["rates"][rate]) / 60)


def exact(value: Any) -> Fraction:
    """A number exactly as it is written: "0.1" and the JSON number 0.1 are both one tenth."""
    return Fraction(str(value))


def half_away(value: Fraction) -> int:
    """The nearest integer; a half goes away from zero."""
    nearest = floor(abs(value) + Fraction(1, 2))
    return nearest if value >= 0 else -nearest


def price_plainly(
    claim: Table,
    matrix: Table,
    decimals: int | None = None,
    methods: Mapping[str, str] | None = None,
) -> PlainSheet:
    """Price a claim; ``decimals`` is ISO 4217's number for the currency unless it is given.

    Planned panels are reached by the plan that ``plain_planning`` finds unless methods are given.
    """
    job = settled(the_job(claim, matrix, decimals), methods)

    lines: list[PlainLine] = []
    for panel in panels_in_order(claim):
        lines += panel_lines(job, panel)
    lines += vehicle_extra_lines(job, lines)
    lines += removal_lines(job)
    lines += other_lines(job)
    lines += minimum_lines(job, lines)
    taxes = tax_lines(job, lines)

    subtotal = added(lines)
    tax = added(taxes)
    deductible = job.money(claim["claim"].get("deductible") or "0")
    return PlainSheet(
        lines=lines + taxes,
        subtotal=subtotal,
        tax=tax,
        total=subtotal + tax,
        deductible=deductible,
        net=max(0, subtotal + tax - deductible),
        complete=all(line.amount is not None for line in lines),
        methods=job.methods,
    )


def the_job(claim: Table, matrix: Table, decimals: int | None = None) -> Job:
    if decimals is None:
        decimals = Currency(matrix["matrix"]["currency"]).exponent
        if decimals is None:
            raise ValueError("the currency has no minor unit")
    return Job(claim, matrix, decimals)


def settled(job: Job, methods: Mapping[str, str] | None = None) -> Job:
    """The same, with a method for every planned panel."""
    from tests.plain_planning import best_plan

    if not is_planned(job):
        return job
    return replace(job, methods=best_plan(job).methods if methods is None else methods)


def is_planned(job: Job) -> bool:
    return any(panel.get("access") == "plan" for panel in job.claim.get("panels") or [])


def edges_plainly(
    claim: Table, matrix: Table, methods: Mapping[str, str] | None = None
) -> list[tuple[str, PlainEdge]]:
    """For every panel, in printed order, where a handful of dents decides its base."""
    job = settled(the_job(claim, matrix), methods)
    return [
        (panel["panel"], edge)
        for panel in panels_in_order(claim)
        for edge in edges_of_bands(job, panel)
    ]


def added(lines: Iterable[PlainLine]) -> int:
    """The sum of the amounts there are."""
    return sum(line.amount for line in lines if line.amount is not None)


# --- dents ------------------------------------------------------------------------------------


def panels_in_order(claim: Table) -> list[Table]:
    return sorted(claim.get("panels") or [], key=lambda panel: PANEL_ORDER.index(panel["panel"]))


def coin_sizes(matrix: Table) -> dict[str, Fraction]:
    """Every coin a tally may name."""
    coins = matrix["matrix"]["coins"]
    if isinstance(coins, str):
        return {name: exact(mm) for name, mm in COINS[coins].items()}
    return {coin["name"]: exact(coin["mm"]) for coin in coins}


def column_sizes(matrix: Table) -> list[Fraction]:
    sizes = coin_sizes(matrix)
    return [sizes[name] for name in matrix["matrix"]["columns"]]


def column_of(matrix: Table, mm: Fraction) -> int | None:
    """The first column whose coin covers the size; None if none does."""
    for place, diameter in enumerate(column_sizes(matrix)):
        if diameter >= mm:
            return place
    return None


def dents_of(job: Job, panel: Table) -> list[Dent]:
    """Every dent of a panel, one by one, in the order the claim gives them.

    A dent measured along two axes is as large as its longer one.
    Of a tally it is only known how many dents of a coin carry a mark, not which, and no price
    asks for two marks at once: the first ones are given it. Sample squares stand for a tally,
    and the zones of a panel mark dents that have a place on it.
    """
    dents: list[Dent] = []
    panel = counted_panel(panel, job.claim["vehicle"], list(coin_sizes(job.matrix)))
    for coin, count in (panel.get("tally") or {}).items():
        column = column_of(job.matrix, coin_sizes(job.matrix)[coin])
        if column is None and count:
            raise ValueError(f"{coin} is larger than the largest column")
        for number in range(count):
            marks = {
                mark
                for mark, marked in (panel.get("marked") or {}).items()
                if number < marked.get(coin, 0)
            }
            dents.append(Dent(column, None, frozenset(marks)))
    for measured in [*(panel.get("dents") or []), *(panel.get("oversize") or [])]:
        mm = max(exact(measured["mm"]), exact(measured.get("mm2") or 0))
        marks = set(measured.get("marks") or [])
        dents.append(Dent(column_of(job.matrix, mm), mm, frozenset(marks)))
    return dents


# --- one panel --------------------------------------------------------------------------------


def panel_lines(job: Job, panel: Table) -> list[PlainLine]:
    """All lines of a panel: replaced, agreed, not priced, or priced by the matrix."""
    name = panel["panel"]
    access = access_of(job, panel)
    if access == "replace":
        return [PlainLine("body", name, "", job.money(panel["replace_cost"]))]
    if panel.get("agreed") is not None:
        return [PlainLine("repair", name, "", job.money(panel["agreed"]))]

    dents = dents_of(job, panel)
    counted = [dent.column for dent in dents if dent.column is not None]
    oversize = [dent.mm for dent in dents if dent.column is None and dent.mm is not None]
    if not dents:
        return []

    grid = grid_of(job.matrix, name)
    if grid is None or len(counted) > grid["last"] or (oversize and not job.matrix.get("oversize")):
        return [PlainLine("repair", name, "", None)]
    if panel.get("access") == "plan" and access == "push" and can_never_be_glued(job, panel):
        return [PlainLine("repair", name, "", None)]

    lines = []
    if counted:
        lines.append(PlainLine("repair", name, "", base_amount(job, grid, counted)))
    for mm in oversize:
        lines.append(PlainLine("oversize", name, "", oversize_amount(job, mm)))
    return lines + panel_extra_lines(job, panel, dents, added(lines))


def access_of(job: Job, panel: Table) -> str:
    """How a panel is reached; the plan says it where the claim leaves it open."""
    access = panel.get("access") or "push"
    if access == "plan":
        access = job.methods[panel["panel"]]
    if access not in ("push", "glue", "replace"):
        raise ValueError(f"access {access!r} is no method")
    return str(access)


def grid_of(matrix: Table, panel: str) -> Table | None:
    for grid in matrix["grid"]:
        if panel in grid["panels"]:
            found: Table = grid
            return found
    return None


def base_amount(job: Job, grid: Table, columns: Sequence[int]) -> int:
    """The repair line of a panel with these dents, each given as its column."""
    value = mixed_value(job.matrix["matrix"], grid, columns)
    if job.matrix["matrix"]["cells"] == "money":
        return half_away(value * 10**job.decimals)
    return job.time(value, "repair")


def oversize_amount(job: Job, mm: Fraction) -> int:
    table = job.matrix["oversize"]
    beyond = mm - column_sizes(job.matrix)[-1]
    minutes = exact(table["minutes"]) + exact(table["minutes_per_mm"]) * beyond
    return job.time(minutes, "repair")


def cell(head: Table, grid: Table, count: int, column: int) -> Fraction:
    """What the grid says for this many dents in this column."""
    bands = grid["bands"]
    rows = grid["rows"]
    row = max(place for place in range(len(bands)) if bands[place] <= count)
    here = exact(rows[row][column])
    if head["within_band"] == "flat" or row == len(bands) - 1:
        return here
    there = exact(rows[row + 1][column])
    return here + (there - here) * Fraction(count - bands[row], bands[row + 1] - bands[row])


def mixed_value(head: Table, grid: Table, columns: Sequence[int]) -> Fraction:
    """One value for a panel with dents of several sizes."""
    everything = len(columns)
    of_column = {column: columns.count(column) for column in sorted(set(columns))}
    largest = max(columns)
    rule = head["mixed"]

    if rule == "layers":
        value = cell(head, grid, everything, 0)
        for column in range(1, largest + 1):
            at_least = sum(1 for each in columns if each >= column)
            value += cell(head, grid, at_least, column) - cell(head, grid, at_least, column - 1)
        return value
    if rule == "share":
        weighted = sum(
            (count * cell(head, grid, everything, column) for column, count in of_column.items()),
            start=Fraction(0),
        )
        return weighted / everything
    if rule == "largest":
        return cell(head, grid, everything, largest)
    if rule == "most":
        most = max(of_column.values())
        column = max(column for column, count in of_column.items() if count == most)
        return cell(head, grid, everything, column)
    if rule == "each":
        return sum(
            (cell(head, grid, count, column) for column, count in of_column.items()),
            start=Fraction(0),
        )
    raise ValueError(f"no such rule: {rule}")


def edges_of_bands(job: Job, panel: Table) -> list[PlainEdge]:
    """Where a handful of dents decides the base of a panel that the matrix prices by count."""
    lines = panel_lines(job, panel)
    by_matrix = access_of(job, panel) != "replace" and panel.get("agreed") is None
    counted = [dent.column for dent in dents_of(job, panel) if dent.column is not None]
    if not (by_matrix and counted) or panel.get("sample") or any(x.amount is None for x in lines):
        return []
    grid = grid_of(job.matrix, panel["panel"])
    if grid is None:
        return []
    counts = [counted.count(column) for column in range(len(column_sizes(job.matrix)))]
    return plain_edges(
        counts, job.matrix["matrix"], grid, lambda columns: base_amount(job, grid, columns)
    )


# --- what may be glued ------------------------------------------------------------------------


def force_of(job: Job, rule: str) -> str:
    """What a rule on glue does: forbid, warn or allow."""
    force = (job.matrix.get("access") or {}).get(rule, "forbid")
    if force not in ("forbid", "warn", "allow"):
        raise ValueError(f"no such force: {force}")
    return str(force)


def is_too_hot(job: Job) -> bool:
    """Whether the panels are hotter than glue may be used on; not if nobody took their heat."""
    heat = (job.claim.get("conditions") or {}).get("panel_temperature_c")
    limit = (job.matrix.get("access") or {}).get("glue_limit_c", "30")
    return heat is not None and exact(heat) > exact(limit)


def marks_not_to_be_glued(job: Job) -> set[str]:
    rules = {"sharp": "glue_sharp", "body-line": "glue_body_line"}
    return {mark for mark, rule in rules.items() if force_of(job, rule) == "forbid"}


def forbids_glue(job: Job, panel: Table) -> list[str]:
    """The rules that forbid to glue a whole panel."""
    rules = []
    if is_too_hot(job) and force_of(job, "glue_hot") == "forbid":
        rules.append("glue_hot")
    if panel.get("repainted") and force_of(job, "glue_repainted") == "forbid":
        rules.append("glue_repainted")
    marks = {mark for dent in dents_of(job, panel) for mark in dent.marks}
    if "sharp" in marks & marks_not_to_be_glued(job):
        rules.append("glue_sharp")
    if "body-line" in marks & marks_not_to_be_glued(job):
        rules.append("glue_body_line")
    return rules


def can_never_be_glued(job: Job, panel: Table) -> bool:
    """Whether of a panel that is pushed some glue-only dent has no method, on a cool day either."""
    if panel.get("repainted") and force_of(job, "glue_repainted") == "forbid":
        return any("glue-only" in dent.marks for dent in dents_of(job, panel))
    counted = counted_panel(panel, job.claim["vehicle"], list(coin_sizes(job.matrix)))
    forbidding = marks_not_to_be_glued(job)
    singly = [*(counted.get("dents") or []), *(counted.get("oversize") or [])]
    if any("glue-only" in marks and marks & forbidding for marks in map(marks_of, singly)):
        return True
    return any(
        must_share(count, counted.get("marked") or {}, coin, forbidding)
        for coin, count in (counted.get("tally") or {}).items()
    )


def marks_of(dent: Table) -> set[str]:
    return set(dent.get("marks") or [])


def must_share(count: int, marked: Table, coin: str, forbidding: set[str]) -> bool:
    """Whether of so many dents some glue-only one must have one of the other marks too.

    The dents lie in a row. Glue-only ones are counted off from one end and the others, one mark
    on top of the other, from the far end: if even so they meet, they do whichever they are.
    """
    glue_only = range((marked.get("glue-only") or {}).get(coin, 0))
    return any(
        number in glue_only
        for mark in forbidding
        for number in range(count - (marked.get(mark) or {}).get(coin, 0), count)
    )


# --- extras -----------------------------------------------------------------------------------


def panel_extra_lines(
    job: Job, panel: Table, dents: Sequence[Dent], before_extras: int
) -> list[PlainLine]:
    """The extras of one panel, in file order."""
    lines: list[PlainLine] = []
    for extra in job.matrix.get("extra") or []:
        of = extra.get("of", "panel")
        when = extra.get("when") or {}
        affected = affected_dents(job, when, panel, dents)
        if of == "vehicle" or not fits_panel(job, when, panel):
            continue
        if of == "panel" and not holds_for_panel(job, when, panel, affected):
            continue
        if of == "affected" and affected == 0:
            continue

        base = before_extras
        if job.matrix["matrix"]["stacking"] == "compound":
            base += added(lines)
        if "percent" in extra:
            share = Fraction(affected, len(dents)) if of == "affected" else Fraction(1)
            amount = half_away(exact(extra["percent"]) / 100 * base * share)
        else:
            times = affected if extra.get("per", "panel") == "dent" else 1
            amount = time_or_money(job, extra, times)
        lines.append(PlainLine("extra", panel["panel"], extra["id"], amount))
    return lines


def fits_panel(job: Job, when: Table, panel: Table) -> bool:
    """Whether what is asked of the panel itself and of the vehicle is so."""
    if "metal" in when and when["metal"] != (panel.get("metal") or "steel"):
        return False
    if "repainted" in when and when["repainted"] != bool(panel.get("repainted", False)):
        return False
    if "panel" in when and panel["panel"] not in when["panel"]:
        return False
    return fits_body(job, when)


def fits_body(job: Job, when: Table) -> bool:
    return "body" not in when or job.claim["vehicle"]["body"] in when["body"]


def holds_for_panel(job: Job, when: Table, panel: Table, affected: int) -> bool:
    """For an extra on the whole panel: its own access, and at least one dent with the mark."""
    if "access" in when and when["access"] != access_of(job, panel):
        return False
    return "mark" not in when or affected > 0


def affected_dents(job: Job, when: Table, panel: Table, dents: Sequence[Dent]) -> int:
    """How many of the panel's dents the extra speaks of, oversize ones included."""
    glued_panel = access_of(job, panel) == "glue"
    if "mark" in when:
        if "access" in when and when["access"] != access_of(job, panel):
            return 0
        return sum(1 for dent in dents if when["mark"] in dent.marks)
    if "access" not in when:
        return len(dents)
    glued = [dent for dent in dents if glued_panel or "glue-only" in dent.marks]
    if when["access"] == "glue":
        return len(glued)
    return len(dents) - len(glued)


def time_or_money(job: Job, extra: Table, times: int) -> int:
    if "minutes" in extra:
        return job.time(exact(extra["minutes"]) * times, "repair")
    return job.money(extra["money"]) * times


def vehicle_extra_lines(job: Job, lines: Sequence[PlainLine]) -> list[PlainLine]:
    """Extras on the whole vehicle, if any repair on it has a price."""
    repairs = [line for line in lines if line.kind == "repair" and line.amount is not None]
    found: list[PlainLine] = []
    for extra in job.matrix.get("extra") or []:
        if extra.get("of") != "vehicle" or not fits_body(job, extra.get("when") or {}):
            continue
        if not repairs:
            continue
        if "percent" in extra:
            amount = half_away(exact(extra["percent"]) / 100 * added(repairs))
        else:
            amount = time_or_money(job, extra, 1)
        found.append(PlainLine("extra", None, extra["id"], amount))
    return found


# --- removal & refit --------------------------------------------------------------------------


def needs_push_access(job: Job, panel: Table) -> bool:
    """Pushed, and at least one dent that is not left to glue."""
    if access_of(job, panel) != "push":
        return False
    return any("glue-only" not in dent.marks for dent in dents_of(job, panel))


def operations_of(job: Job) -> list[Table]:
    """What can come off this vehicle, in file order.

    What its body or its equipment does not have does not exist for it, and nothing waits for it.
    """
    vehicle = job.claim["vehicle"]
    there = [
        operation
        for operation in job.matrix.get("removal") or []
        if vehicle["body"] in (operation.get("body") or [vehicle["body"]])
        and operation.get("equipment") in [None, *(vehicle.get("equipment") or [])]
    ]
    names = {operation["id"] for operation in there}
    return [
        {**operation, "after": [name for name in operation.get("after") or [] if name in names]}
        for operation in there
    ]


def removal_lines(job: Job) -> list[PlainLine]:
    operations = operations_of(job)
    pushed = [
        panel["panel"] for panel in job.claim.get("panels") or [] if needs_push_access(job, panel)
    ]
    lines: list[PlainLine] = []
    for operation in printed_order(operations, best_removal(job, operations, pushed)):
        lines += operation_lines(job, operation)
    return lines


def operation_lines(job: Job, operation: Table) -> list[PlainLine]:
    """The work, and the single-use fasteners it takes."""
    name = operation["id"]
    lines = [PlainLine("removal", None, name, job.time(exact(operation["minutes"]), "removal"))]
    fasteners = operation.get("fasteners") or 0
    price = operation.get("fastener_price")
    if fasteners > 0 and price is not None:
        lines.append(PlainLine("fastener", None, name, fasteners * job.money(price)))
    return lines


def with_tax(job: Job, group: str) -> Fraction:
    """What one unit of a group comes to with its tax."""
    return 1 + exact((job.matrix.get("tax") or {}).get(group) or "0") / 100


class RemovalSet(NamedTuple):
    """Operations by their places in the file, and what they take, in the order of what counts.

    `first` and `second` are the cost with tax and the minutes, or the other way round.
    """

    first: Fraction
    second: Fraction
    operations: int
    places: tuple[int, ...]


def sets_that_open(
    job: Job, operations: Sequence[Table], pushed: Iterable[str]
) -> list[RemovalSet]:
    """Every choice of one way a panel, each with all that it needs off first.

    Whatever else serves holds one of these choices and something over, which costs no less,
    takes no less time and is more operations.
    """
    choices: set[frozenset[int]] = {frozenset()}
    for panel in pushed:
        ways = [
            needed_for(operations, place)
            for place, operation in enumerate(operations)
            if panel in (operation.get("opens") or [])
        ]
        if ways:
            choices = {choice | way for choice in choices for way in ways}
    return [removal_set(job, operations, choice) for choice in choices]


def removal_set(job: Job, operations: Sequence[Table], choice: Iterable[int]) -> RemovalSet:
    places = tuple(sorted(choice))
    lines = [line for place in places for line in operation_lines(job, operations[place])]
    labour = added(line for line in lines if line.kind == "removal")
    fasteners = added(line for line in lines if line.kind == "fastener")
    cost = with_tax(job, "labour") * labour + with_tax(job, "parts") * fasteners
    minutes = sum((exact(operations[place]["minutes"]) for place in places), start=Fraction(0))
    first, second = (minutes, cost) if aims_at_minutes(job) else (cost, minutes)
    return RemovalSet(first, second, len(places), places)


def aims_at_minutes(job: Job) -> bool:
    """An aim is one of plans: where nothing is planned, the cheapest comes off."""
    return is_planned(job) and job.claim.get("aim") == "minutes"


def best_removal(job: Job, operations: Sequence[Table], pushed: Sequence[str]) -> list[Table]:
    """What comes off: the cheapest, or what takes least time where that is aimed at.

    Ties: the other of the two, then fewest operations, then what stands first in the file.
    """
    best = min(sets_that_open(job, operations, pushed))
    return [operations[place] for place in best.places]


def needed_for(operations: Sequence[Table], place: int) -> frozenset[int]:
    """An operation, all that must be off first, and all that those need: places in the file."""
    places = {operation["id"]: number for number, operation in enumerate(operations)}
    needed = {place}
    for other in operations[place].get("after") or []:
        needed |= needed_for(operations, places[other])
    return frozenset(needed)


def part_of(operations: Sequence[Table], place: int) -> str:
    """The part of the vehicle that an operation belongs to.

    It is that of the first panel, as a sheet lists them, of all that it or what waits for it opens.
    """
    opened = {
        panel
        for other, operation in enumerate(operations)
        if place in needed_for(operations, other)
        for panel in operation.get("opens") or []
    }
    first = min(opened, key=PANEL_ORDER.index)
    (part,) = (part for part, panels in PARTS_OF_THE_VEHICLE.items() if first in panels)
    return part


def printed_order(operations: Sequence[Table], chosen: Sequence[Table]) -> list[Table]:
    """One part of the vehicle after another, each as far as it goes.

    Next comes a part that can be finished now; if there are several, or none, it is the one with
    the operation that is ready and stands first in the file.
    """
    parts = {
        operation["id"]: part_of(operations, n)
        for n, operation in enumerate(operations)
        if operation in chosen
    }
    done: list[Table] = []
    while len(done) < len(chosen):
        left = [operation for operation in chosen if operation not in done]
        ready = [operation for operation in left if is_ready(operation, done)]
        if not ready:
            raise ValueError("the operations wait for each other")
        open_parts = list(dict.fromkeys(parts[operation["id"]] for operation in ready))
        finishable = [part for part in open_parts if can_be_finished(part, parts, left)]
        part = (finishable or open_parts)[0]
        # Whatever becomes ready on the way is done before one leaves the part.
        while of_part := [
            operation
            for operation in chosen
            if parts[operation["id"]] == part
            and operation not in done
            and is_ready(operation, done)
        ]:
            done.append(of_part[0])
    return done


def is_ready(operation: Table, done: Sequence[Table]) -> bool:
    return set(operation["after"]) <= {other["id"] for other in done}


def can_be_finished(part: str, parts: Mapping[str, str], left: Sequence[Table]) -> bool:
    """Whether what is left of a part waits for nothing that is left of another one."""
    elsewhere = {other["id"] for other in left if parts[other["id"]] != part}
    return not any(
        set(operation["after"]) & elsewhere for operation in left if parts[operation["id"]] == part
    )


# --- the rest of the sheet --------------------------------------------------------------------


def other_lines(job: Job) -> list[PlainLine]:
    return [
        PlainLine(
            other["kind"], None, other["label"], other["quantity"] * job.money(other["unit_price"])
        )
        for other in job.claim.get("other") or []
    ]


def minimum_lines(job: Job, lines: Sequence[PlainLine]) -> list[PlainLine]:
    """What is missing to the least a vehicle costs."""
    minimum = job.matrix["matrix"].get("minimum")
    if minimum is None or not lines or added(lines) >= job.money(minimum):
        return []
    return [PlainLine("minimum", None, "", job.money(minimum) - added(lines))]


def tax_lines(job: Job, lines: Sequence[PlainLine]) -> list[PlainLine]:
    rates = job.matrix.get("tax") or {}
    found: list[PlainLine] = []
    for group, kinds in (("labour", LABOUR), ("parts", PARTS), ("sublet", SUBLET)):
        rate = exact(rates.get(group) or "0")
        taxed = [line for line in lines if line.kind in kinds and line.amount is not None]
        if rate != 0 and taxed:
            found.append(PlainLine("tax", None, group, half_away(rate / 100 * added(taxed))))
    return found
