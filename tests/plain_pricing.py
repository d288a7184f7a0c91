"""The pricing rules a second time: plain, slow, and sharing nothing with the product.

Holds ``price_plainly``, which prices one claim under one matrix, both plain dicts as a JSON or
TOML reader gives them. Sizes are millimetres, times are minutes, rates are money an hour;
amounts that come out are integers of the currency's minor unit.

The one idea: every panel is written out dent by dent, every figure is an exact fraction, and
each rule is then a sentence about that list of dents. What the panel's outline says of a dent,
and what sample squares stand for, is ``plain_counting``'s. Nothing is prepared or tabulated, and
the cheapest removal is found by trying every combination of one way a panel. Invalid claims and
matrices are somebody else's concern: what is given here is taken to be valid.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
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
    """The lines in printed order, and the totals in minor units."""

    lines: list[PlainLine]
    subtotal: int
    tax: int
    total: int
    deductible: int
    net: int
    complete: bool


@dataclass(frozen=True)
class Dent:
    """One dent: the place of its column in the matrix, None where it is oversize."""

    column: int | None
    mm: Fraction | None
    marks: frozenset[str]


@dataclass(frozen=True)
class Job:
    """What every rule needs at hand."""

    claim: Table
    matrix: Table
    decimals: int

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


def price_plainly(claim: Table, matrix: Table, decimals: int | None = None) -> PlainSheet:
    """Price a claim; ``decimals`` is ISO 4217's number for the currency unless it is given."""
    job = the_job(claim, matrix, decimals)

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
    )


def the_job(claim: Table, matrix: Table, decimals: int | None = None) -> Job:
    if decimals is None:
        decimals = Currency(matrix["matrix"]["currency"]).exponent
        if decimals is None:
            raise ValueError("the currency has no minor unit")
    return Job(claim, matrix, decimals)


def edges_plainly(claim: Table, matrix: Table) -> list[tuple[str, PlainEdge]]:
    """For every panel, in printed order, where a handful of dents decides its base."""
    job = the_job(claim, matrix)
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
    Of a tally it is only known how many dents of a coin carry a mark, not which, and no rule
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
    if access_of(panel) == "replace":
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

    lines = []
    if counted:
        lines.append(PlainLine("repair", name, "", base_amount(job, grid, counted)))
    for mm in oversize:
        lines.append(PlainLine("oversize", name, "", oversize_amount(job, mm)))
    return lines + panel_extra_lines(job, panel, dents, added(lines))


def access_of(panel: Table) -> str:
    access = panel.get("access") or "push"
    if access not in ("push", "glue", "replace"):
        raise ValueError(f"access {access!r} is not settled yet")
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
    by_matrix = access_of(panel) != "replace" and panel.get("agreed") is None
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


# --- extras -----------------------------------------------------------------------------------


def panel_extra_lines(
    job: Job, panel: Table, dents: Sequence[Dent], before_extras: int
) -> list[PlainLine]:
    """The extras of one panel, in file order."""
    lines: list[PlainLine] = []
    for extra in job.matrix.get("extra") or []:
        of = extra.get("of", "panel")
        when = extra.get("when") or {}
        affected = affected_dents(when, panel, dents)
        if of == "vehicle" or not fits_panel(job, when, panel):
            continue
        if of == "panel" and not holds_for_panel(when, panel, affected):
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


def holds_for_panel(when: Table, panel: Table, affected: int) -> bool:
    """For an extra on the whole panel: its own access, and at least one dent with the mark."""
    if "access" in when and when["access"] != access_of(panel):
        return False
    return "mark" not in when or affected > 0


def affected_dents(when: Table, panel: Table, dents: Sequence[Dent]) -> int:
    """How many of the panel's dents the extra speaks of, oversize ones included."""
    glued_panel = access_of(panel) == "glue"
    if "mark" in when:
        if "access" in when and when["access"] != access_of(panel):
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
    if access_of(panel) != "push":
        return False
    return any("glue-only" not in dent.marks for dent in dents_of(job, panel))


def removal_lines(job: Job) -> list[PlainLine]:
    operations: Sequence[Table] = job.matrix.get("removal") or []
    pushed = [
        panel["panel"] for panel in job.claim.get("panels") or [] if needs_push_access(job, panel)
    ]
    lines: list[PlainLine] = []
    for operation in printed_order(cheapest_removal(job, operations, pushed)):
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


def cheapest_removal(job: Job, operations: Sequence[Table], pushed: Sequence[str]) -> list[Table]:
    """Of all choices of one way a panel, each with all that it needs off first, the cheapest.

    Equally cheap: the one with fewest operations, then the one that stands first in the file.
    Whatever else serves holds one of these choices and something over, which costs no less and
    is more operations.
    """
    price = [added(operation_lines(job, operation)) for operation in operations]
    choices: set[frozenset[int]] = {frozenset()}
    for panel in pushed:
        ways = [
            needed_for(operations, place)
            for place, operation in enumerate(operations)
            if panel in (operation.get("opens") or [])
        ]
        if ways:
            choices = {choice | way for choice in choices for way in ways}
    _, _, best = min(
        (sum(price[place] for place in choice), len(choice), sorted(choice)) for choice in choices
    )
    return [operations[place] for place in best]


def needed_for(operations: Sequence[Table], place: int) -> frozenset[int]:
    """An operation, all that must be off first, and all that those need: places in the file."""
    places = {operation["id"]: number for number, operation in enumerate(operations)}
    needed = {place}
    for other in operations[place].get("after") or []:
        needed |= needed_for(operations, places[other])
    return frozenset(needed)


def printed_order(chosen: Sequence[Table]) -> list[Table]:
    """Again and again the first in the file that waits for nothing."""
    printed: list[Table] = []
    waiting = list(chosen)
    while waiting:
        for operation in waiting:
            names = {other["id"] for other in printed}
            if all(needed in names for needed in operation.get("after") or []):
                printed.append(operation)
                waiting.remove(operation)
                break
        else:
            raise ValueError("the operations wait for each other")
    return printed


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
