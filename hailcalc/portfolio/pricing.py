"""Whole books priced: every rule of a single claim, on arrays.

The figures are those of `hailcalc.estimate.price` to the cent, because they come from the same
integer tables and the same functions (`mixed_terms`, `picked`, `extra_amount`,
`OversizeRule.amount`, `round_half_away`), each applied to a chunk of panels at once. Chunks end
where a vehicle ends and are small enough for what is worked on to stay in the processor's cache.
Minor units throughout; a panel without a price adds nothing and makes its vehicle incomplete.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import NamedTuple, TypeVar

import numpy as np

from hailcalc.claimfile import Aim
from hailcalc.estimate.vehicle import tax_amount, tax_groups, topping_up
from hailcalc.extras import Picked, dents_picked, extra_amount
from hailcalc.lines import Kind
from hailcalc.matrix import mixed_terms
from hailcalc.money import round_half_away
from hailcalc.portfolio.kernel import Loop, base_loop
from hailcalc.portfolio.rows import (
    ABSENT,
    ACCESSES,
    BODY_AT,
    EQUIPMENT,
    MARKS,
    OTHER_KINDS,
    Rows,
    Whole,
    Yes,
    part_of,
)
from hailcalc.portfolio.tabulated import (
    MINUTE_UNITS,
    TabulatedMatrix,
    kind_number,
    look_up,
    removal_groups,
)
from hailcalc.vehicle import PANELS

CHUNK = 32_768
"""Panels worked on at a time: a column of them is 256 kB."""

_PUSH, _REPLACE = ACCESSES.index("push"), ACCESSES.index("replace")
_GLUE_ONLY = MARKS.index("glue-only")
# Beside the panels pushed, what a vehicle's panels say together.
_HAS_LINE = len(PANELS)
_HAS_REPAIR = _HAS_LINE + 1
_NOT_PRICED = _HAS_LINE + 2

LINE_KINDS: tuple[Kind, ...] = (
    "repair", "oversize", "extra", "removal", "fastener", "part", "sublet", "refinish", "body",
    "minimum",
)  # fmt: skip

_NOWHERE: Whole = np.zeros(0, np.int64)

_Columns = TypeVar("_Columns", bound=tuple[Whole, ...])


class PanelSums(NamedTuple):
    """Sums of each panel's lines by kind; `priced` is False where a panel has no price."""

    dents: Whole
    repair: Whole
    oversize: Whole
    extra: Whole
    body: Whole
    priced: Yes


class VehicleSums(NamedTuple):
    """Sums of each vehicle's lines by kind (`kinds`, as LINE_KINDS), and its totals.

    `repair_tenths` are tenths of a minute of repair sold: repair, oversize and extras at the
    repair rate; `removal_tenths` those of the operations.
    """

    panels: Whole
    dents: Whole
    kinds: dict[str, Whole]
    subtotal: Whole
    tax: Whole
    total: Whole
    deductible: Whole
    net: Whole
    complete: Yes
    repair_tenths: Whole
    removal_tenths: Whole


class Priced(NamedTuple):
    """A book priced under one matrix, in the order of its rows.

    `panels` is None where only vehicles were asked for.
    """

    vehicles: VehicleSums
    panels: PanelSums | None


def price_rows(
    rows: Rows,
    matrix: TabulatedMatrix,
    *,
    panels: bool = True,
    threads: int = 1,
    chunk: int = CHUNK,
    fast: bool = False,
) -> Priced:
    """Price checked rows under a matrix; sums by panel too if `panels`.

    With `fast` the base prices come from a compiled loop, where there is one (`kernel`): the same
    prices, worth the second of compiling from some millions of panels on.

    Panels are worked through in chunks of whole vehicles with about `chunk` panels together, in
    so many threads; what belongs to the vehicle is then settled for all of them at once.
    """

    loop = None
    if fast and matrix.number is np.int64:
        tables = matrix.compiled.tables
        loop = base_loop(tables.mixed, len(tables.columns), matrix.denominator)

    def work(part: Rows) -> tuple[PanelSums | None, _PanelsOfVehicle]:
        found, sums = _price_panels(part, matrix, loop)
        return (found if panels else None), sums

    if threads > 1:
        with ThreadPoolExecutor(threads) as pool:
            done = list(pool.map(work, _chunks(rows, chunk)))
    else:
        done = [work(part) for part in _chunks(rows, chunk)]
    of_panels = [found for found, _ in done if found is not None]
    return Priced(
        _settle(rows, _joined([sums for _, sums in done]), matrix),
        _joined(of_panels) if of_panels else None,
    )


def _joined(parts: list[_Columns]) -> _Columns:
    """Columns of chunks, end to end."""
    if len(parts) == 1:
        return parts[0]
    return type(parts[0])(*(np.concatenate(column) for column in zip(*parts, strict=True)))


def _chunks(rows: Rows, chunk: int) -> Iterator[Rows]:
    """Whole vehicles with about so many panels together; one empty chunk of an empty book."""
    start, end = 0, rows.vehicles
    if rows.panels <= chunk:
        yield rows
        return
    while start < end:
        stop = int(np.searchsorted(rows.first, rows.first[start] + chunk, side="right")) - 1
        stop = min(end, max(stop, start + 1))
        yield part_of(rows, start, stop)
        start = stop


class _Counted(NamedTuple):
    """A chunk's dents by panel, and what becomes of each panel."""

    in_columns: Whole
    oversize: Whole | None
    all: Whole
    replaced: Yes
    agreed: Yes | None
    by_matrix: Yes
    priced: Yes


class _PanelsOfVehicle(NamedTuple):
    """What a vehicle's panels come to together; `flags` as the bits above."""

    repair: Whole
    oversize: Whole
    extra: Whole
    body: Whole
    dents: Whole
    flags: Whole


def _price_panels(
    rows: Rows, matrix: TabulatedMatrix, loop: Loop | None
) -> tuple[PanelSums, _PanelsOfVehicle]:
    counted = _counted(rows, matrix)
    repair = _base(rows, counted, matrix, loop)
    oversize = _oversize(rows, counted, matrix)
    extra = _extras(rows, counted, repair + oversize, matrix)
    body: Whole = np.zeros(rows.panels, matrix.number)
    if rows.agreed is not None and counted.agreed is not None:
        repair = np.where(counted.agreed, rows.agreed, repair)
    if rows.replace_cost is not None:
        body = np.where(counted.replaced, rows.replace_cost, body)
    flags = _flags(rows, counted)
    sums = _PanelsOfVehicle(
        repair=_by_vehicle(np.add, repair, rows.first),
        oversize=_by_vehicle(np.add, oversize, rows.first),
        extra=_by_vehicle(np.add, extra, rows.first),
        body=_by_vehicle(np.add, body, rows.first),
        dents=_by_vehicle(np.add, counted.all, rows.first),
        flags=_by_vehicle(np.bitwise_or, flags, rows.first),
    )
    return PanelSums(counted.all, repair, oversize, extra, body, counted.priced), sums


def _counted(rows: Rows, matrix: TabulatedMatrix) -> _Counted:
    in_columns = rows.counts[0].astype(np.int64)
    for count in rows.counts[1:]:
        in_columns += count
    everything, oversize = in_columns, None
    if rows.oversize_first is not None:
        oversize = np.diff(rows.oversize_first)
        everything = in_columns + oversize
    replaced = rows.access == _REPLACE
    settled, agreed = replaced, None
    if rows.agreed is not None:
        agreed = (rows.agreed != ABSENT) & ~replaced
        settled = replaced | agreed
    beyond = in_columns > matrix.last.take(rows.panel)
    if oversize is not None and matrix.compiled.oversize is None:
        beyond |= oversize > 0
    if rows.no_price is not None:
        beyond |= rows.no_price
    to_price = ~settled & (everything > 0)
    return _Counted(
        in_columns=in_columns,
        oversize=oversize,
        all=everything,
        replaced=replaced,
        agreed=agreed,
        by_matrix=to_price & ~beyond,
        priced=~(to_price & beyond),
    )


def _base(rows: Rows, counted: _Counted, matrix: TabulatedMatrix, loop: Loop | None) -> Whole:
    """The base of each panel that the matrix prices, 0 of the others."""
    if loop is not None:
        return base_by_loop(loop, rows, counted.by_matrix, matrix)
    counts: list[Whole] = [count.astype(np.int64) for count in rows.counts]
    # Few panels are not priced by the matrix: they are emptied rather than all multiplied.
    others = np.flatnonzero(~counted.by_matrix)
    for count in counts if len(others) else ():
        count[others] = 0
    return base_amounts(rows.panel, counts, matrix)


def base_amounts(panel: Whole, counts: Sequence[Whole], matrix: TabulatedMatrix) -> Whole:
    """Base prices of panels by their counts by column (int64), all within their grids."""
    terms, divisor = mixed_terms(matrix.compiled.tables.mixed, counts)
    start = matrix.start.take(panel)
    value: Whole = np.zeros(len(panel), matrix.number)
    for term, table in zip(terms, matrix.tables, strict=True):
        cells = table.take(start + term.dents)
        value += cells if isinstance(term.weight, int) else cells * term.weight
    if not isinstance(divisor, int):
        divisor = np.maximum(divisor, 1)
    return round_half_away(value, divisor * matrix.denominator)


def base_by_loop(loop: Loop, rows: Rows, due: Yes, matrix: TabulatedMatrix) -> Whole:
    """Base prices of the panels that are due, by a compiled loop; 0 of the others."""
    amounts: Whole = np.empty(rows.panels, np.int64)
    loop(rows.panel, matrix.start, rows.counts, due, matrix.stacked, amounts)
    return amounts


def _oversize(rows: Rows, counted: _Counted, matrix: TabulatedMatrix) -> Whole:
    """The sum of each panel's oversize dents, each rounded for itself."""
    sums: Whole = np.zeros(rows.panels, matrix.number)
    rule = matrix.compiled.oversize
    if (
        rule is None
        or rows.oversize is None
        or rows.oversize_first is None
        or counted.oversize is None
    ):
        return sums
    amounts = rule.amount(rows.oversize.astype(matrix.number))
    some = np.flatnonzero(counted.oversize)
    sums[some] = np.add.reduceat(amounts, rows.oversize_first[some])
    return sums * counted.by_matrix


def _extras(rows: Rows, counted: _Counted, worked_on: Whole, matrix: TabulatedMatrix) -> Whole:
    """The sum of each panel's extras, in file order. `worked_on` grows if extras compound."""
    extra: Whole = np.zeros(rows.panels, matrix.number)
    kinds = None
    for tabulated in matrix.extras:
        way_of_panel = None
        if not tabulated.everywhere:
            kinds = _kinds(rows) if kinds is None else kinds
            way_of_panel = tabulated.way_of_kind.take(kinds)
        for way, which in enumerate(tabulated.ways):
            places, affected = _due(rows, counted, which, way_of_panel, way)
            if len(places) == 0:
                continue
            amount = extra_amount(
                tabulated.rule,
                worked_on[places],
                affected.astype(matrix.number),
                counted.all[places].astype(matrix.number),
                matrix.compiled.tables.repair_rate,
            )
            extra[places] += amount
            if matrix.compiled.compound:
                worked_on[places] += amount
    return extra


def _due(
    rows: Rows, counted: _Counted, which: Picked, way_of_panel: Whole | None, way: int
) -> tuple[Whole, Whole]:
    """The panels on which an extra is due in one of its ways, and the dents that it counts."""
    column = None if which.mark is None else rows.marks[MARKS.index(which.mark)]
    due = counted.by_matrix
    if way_of_panel is not None:
        due = due & (way_of_panel == way)
    if which.mark is not None and not which.less and not which.always:
        # The rarest condition first: most panels carry no such mark.
        if column is None:
            return _NOWHERE, _NOWHERE
        due = due & (column > 0)
    places = np.flatnonzero(due)
    marks = {} if column is None else {which.mark or "": column[places].astype(np.int64)}
    affected = dents_picked(which, counted.all[places], marks)
    if not which.always and not affected.all():
        places, affected = places[affected > 0], affected[affected > 0]
    return places, affected


def _kinds(rows: Rows) -> Whole:
    body = np.repeat(rows.body, np.diff(rows.first))
    return kind_number(rows.panel, body, rows.metal, rows.repainted, rows.access)


def _flags(rows: Rows, counted: _Counted) -> Whole:
    """For each panel its own bit if it has to be opened, and what it says of its vehicle."""
    glue_only = rows.marks[_GLUE_ONLY]
    pushed = rows.access == _PUSH
    pushed &= counted.all > (0 if glue_only is None else glue_only)
    flags: Whole = pushed.astype(np.int64) << rows.panel.astype(np.int64)
    has_line = counted.replaced | (counted.all > 0)
    has_repair = counted.by_matrix & (counted.in_columns > 0)
    if counted.agreed is not None:
        has_line |= counted.agreed
        has_repair |= counted.agreed
    for bit, column in (
        (_HAS_LINE, has_line),
        (_HAS_REPAIR, has_repair),
        (_NOT_PRICED, ~counted.priced),
    ):
        flags |= column.astype(np.int64) << bit
    return flags


def _by_vehicle(reduce: np.ufunc, column: Whole, first: Whole) -> Whole:
    """A column of panels brought together by vehicle; 0 for a vehicle without panels."""
    some = np.flatnonzero(np.diff(first))
    if len(some) == len(first) - 1:
        return reduce.reduceat(column, first[:-1]) if len(some) else column[:0]
    result: Whole = np.zeros(len(first) - 1, column.dtype)
    if len(some):
        result[some] = reduce.reduceat(column, first[:-1][some])
    return result


def _settle(rows: Rows, panels: _PanelsOfVehicle, matrix: TabulatedMatrix) -> VehicleSums:
    """What belongs to the whole vehicle, in the order of a sheet's lines."""
    compiled = matrix.compiled
    rate = compiled.tables.repair_rate
    extra = panels.extra + _vehicle_extras(rows, panels, matrix)
    removal, fasteners, minutes = _removal(rows, panels.flags, matrix)
    has_line = (panels.flags >> _HAS_LINE & 1).astype(bool)
    kinds: dict[Kind, Whole] = {
        "repair": panels.repair,
        "oversize": panels.oversize,
        "extra": extra,
        "removal": removal,
        "fastener": fasteners,
        "part": np.zeros(rows.vehicles, matrix.number),
        "sublet": np.zeros(rows.vehicles, matrix.number),
        "refinish": np.zeros(rows.vehicles, matrix.number),
        "body": panels.body,
    }
    for other, money in zip(OTHER_KINDS, rows.other, strict=True):
        if money is not None:
            kinds[other] = kinds[other] + np.where(money == ABSENT, 0, money)
            has_line |= money != ABSENT
    kinds["minimum"] = topping_up(_total(kinds.values()), compiled.minimum) * has_line
    subtotal = _total(kinds.values())
    tax = _total(
        tax_amount(tax.rate, _total(kinds[kind] for kind in kinds if kind in tax.kinds))
        for tax in tax_groups(compiled)
    )
    total = subtotal + tax
    deductible = rows.deductible
    if deductible is None:
        deductible = np.zeros(rows.vehicles, matrix.number)
    labour = panels.repair + panels.oversize + extra
    return VehicleSums(
        panels=np.diff(rows.first),
        dents=panels.dents,
        kinds={str(kind): amounts for kind, amounts in kinds.items()},
        subtotal=subtotal,
        tax=tax,
        total=total,
        deductible=deductible,
        net=np.maximum(0, total - deductible),
        complete=(panels.flags >> _NOT_PRICED & 1) == 0,
        repair_tenths=round_half_away(600 * labour, rate) if rate else 0 * labour,
        removal_tenths=round_half_away(10 * minutes, MINUTE_UNITS),
    )


def _total(columns: Iterable[Whole]) -> Whole:
    """The sum of columns, place by place."""
    first, *others = columns
    total = first.copy()
    for column in others:
        total += column
    return total


def _vehicle_extras(rows: Rows, panels: _PanelsOfVehicle, matrix: TabulatedMatrix) -> Whole:
    """Extras on the whole vehicle, where anything is repaired."""
    repaired = (panels.flags >> _HAS_REPAIR & 1).astype(bool)
    extra: Whole = np.zeros(rows.vehicles, matrix.number)
    for rule in matrix.compiled.extras:
        if rule.of != "vehicle":
            continue
        due = repaired
        if rule.bodies is not None:
            due = due & np.isin(rows.body, [BODY_AT[body] for body in rule.bodies])
        zero = 0 * panels.repair
        amount = extra_amount(rule, panels.repair, zero, zero, matrix.compiled.tables.repair_rate)
        extra += amount * due
    return extra


def _removal(rows: Rows, flags: Whole, matrix: TabulatedMatrix) -> tuple[Whole, Whole, Whole]:
    """Labour, fasteners and minutes (over MINUTE_UNITS) of each vehicle's removal & refit."""
    labour: Whole = np.zeros(rows.vehicles, matrix.number)
    fasteners = labour.copy()
    minutes: Whole = np.zeros(rows.vehicles, np.int64)
    if not matrix.compiled.removal:
        return labour, fasteners, minutes
    sort = rows.body.astype(np.int64) << len(EQUIPMENT) | rows.equipment
    sort <<= 1
    if rows.by_minutes is not None:
        sort |= rows.by_minutes
    for number in np.flatnonzero(np.bincount(sort, minlength=1)).tolist():
        aim: Aim = "minutes" if number & 1 else "cost"
        body, equipment = divmod(number >> 1, 1 << len(EQUIPMENT))
        places = np.flatnonzero(sort == number)
        pushed = flags[places]
        for group in removal_groups(matrix, body, equipment, aim):
            found = look_up(group, pushed)
            for sums, amounts in zip((labour, fasteners, minutes), found, strict=True):
                sums[places] += amounts
    return labour, fasteners, minutes
