"""Removal & refit: what has to come off so that panels can be pushed, and its price.

Every panel that is pushed needs one operation that opens it, with all that this operation
needs off first; an operation is done and paid once a vehicle. Where several operations
open a panel any one will do, and the set that is cheapest for the whole vehicle is taken:
sets are bit masks over the operations in file order, parted into independent groups and
searched exactly by branch and bound. Operations that the vehicle's body or equipment does
not have do not exist for it, also where another would wait for them.
The order of removal stays at one part of the vehicle as long as it can; refit is the
reverse. Minutes of the shop; amounts in minor units, before tax.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction
from math import lcm
from typing import Literal, NamedTuple

from hailcalc.lines import Line
from hailcalc.matrix import Matrix, MatrixTables, Operation
from hailcalc.money import minor_units, money_text, rounded
from hailcalc.vehicle import PANELS, PART_OF_PANEL, PARTS

_Key = tuple[int, int, tuple[int, ...]]


class OperationRule(NamedTuple):
    """One operation, compiled. `after` are positions in the matrix file.

    `cost` is what it adds to the total, labour and fasteners with their tax, before rounding.
    """

    id: str
    label: str
    minutes: str
    after: tuple[int, ...]
    opens: tuple[str, ...]
    labour: int
    fasteners: int
    fastener_price: str
    fastener_amount: int | None
    cost: Fraction
    cautions: tuple[str, ...]
    bodies: tuple[str, ...] | None
    equipment: str | None


class Removal(NamedTuple):
    """What one vehicle has to take off: operations in file order, with masks over them.

    `after[i]` and `needs[i]` are what waits directly before operation i, and i with everything
    before it; `ways[panel]` the sets of which any one opens the panel; `parts[i]` the part of the
    vehicle that i belongs to. `by_cost` and `by_minutes` are weights whose sums order sets by
    cost, then minutes, and the other way round.
    """

    operations: tuple[OperationRule, ...]
    after: tuple[int, ...]
    needs: tuple[int, ...]
    ways: dict[str, tuple[int, ...]]
    parts: tuple[str, ...]
    by_cost: tuple[int, ...]
    by_minutes: tuple[int, ...]

    def weights(self, aim: Literal["cost", "minutes"]) -> tuple[int, ...]:
        """The weights for an aim."""
        return self.by_cost if aim == "cost" else self.by_minutes


def compile_removal(matrix: Matrix, tables: MatrixTables) -> tuple[OperationRule, ...]:
    """The operations of a checked matrix, in file order."""
    position = {operation.id: index for index, operation in enumerate(matrix.removal)}
    taxed = 1 + Fraction(matrix.tax.labour) / 100, 1 + Fraction(matrix.tax.parts) / 100
    return tuple(
        _compile(operation, tuple(position[name] for name in operation.after), taxed, tables)
        for operation in matrix.removal
    )


def _compile(
    operation: Operation,
    after: tuple[int, ...],
    taxed: tuple[Fraction, Fraction],
    tables: MatrixTables,
) -> OperationRule:
    price = operation.fastener_price
    fastener_amount = None
    if operation.fasteners and price is not None:
        fastener_amount = operation.fasteners * minor_units(price, tables.decimals)
    labour = rounded(Fraction(operation.minutes) * tables.removal_rate / 60)
    return OperationRule(
        id=operation.id,
        label=operation.label,
        minutes=operation.minutes,
        after=after,
        opens=tuple(dict.fromkeys(operation.opens)),
        labour=labour,
        fasteners=operation.fasteners,
        fastener_price=price or "",
        fastener_amount=fastener_amount,
        cost=taxed[0] * labour + taxed[1] * (fastener_amount or 0),
        cautions=operation.cautions,
        bodies=operation.body,
        equipment=operation.equipment,
    )


def removal_of(
    operations: tuple[OperationRule, ...], body: str, equipment: tuple[str, ...]
) -> Removal:
    """The operations that a vehicle of this body and equipment has."""
    there = [
        index
        for index, rule in enumerate(operations)
        if (rule.bodies is None or body in rule.bodies)
        and (rule.equipment is None or rule.equipment in equipment)
    ]
    place = {index: number for number, index in enumerate(there)}
    rules = tuple(operations[index] for index in there)
    after = [tuple(place[index] for index in rule.after if index in place) for rule in rules]
    needs = _closures(after)
    ways: dict[str, tuple[int, ...]] = {}
    for number, rule in enumerate(rules):
        for panel in rule.opens:
            ways[panel] = (*ways.get(panel, ()), needs[number])
    cost = _whole([rule.cost for rule in rules])
    minutes = _whole([Fraction(rule.minutes) for rule in rules])
    return Removal(
        operations=rules,
        after=tuple(sum(1 << index for index in set(before)) for before in after),
        needs=tuple(needs),
        ways=ways,
        parts=_parts(rules, needs),
        by_cost=_in_turn(cost, minutes),
        by_minutes=_in_turn(minutes, cost),
    )


def _whole(values: Sequence[Fraction]) -> list[int]:
    """Exact fractions as integers over one denominator."""
    scale = lcm(*(value.denominator for value in values))
    return [int(value * scale) for value in values]


def _in_turn(first: Sequence[int], second: Sequence[int]) -> tuple[int, ...]:
    """Weights whose sums compare by the sums of `first`, and where these are equal of `second`."""
    beyond = sum(second) + 1
    return tuple(one * beyond + other for one, other in zip(first, second, strict=True))


def _parts(rules: Sequence[OperationRule], needs: Sequence[int]) -> tuple[str, ...]:
    """The part of the vehicle where the first panel is that an operation serves."""
    rank = {panel: index for index, panel in enumerate(PANELS)}
    first = [len(PANELS)] * len(rules)
    for number, rule in enumerate(rules):
        opened = min((rank[panel] for panel in rule.opens), default=len(PANELS))
        for served in _members(needs[number]):
            first[served] = min(first[served], opened)
    # What opens nothing on this body is needed by no panel and never comes off.
    return tuple(PART_OF_PANEL[PANELS[at]] if at < len(PANELS) else PARTS[0] for at in first)


def _closures(after: Sequence[tuple[int, ...]]) -> list[int]:
    """For each operation the mask of itself and of everything that must be off before it."""
    masks: dict[int, int] = {}

    def mask(index: int) -> int:
        if index not in masks:
            masks[index] = 1 << index
            for before in after[index]:
                masks[index] |= mask(before)
        return masks[index]

    return [mask(index) for index in range(len(after))]


def _members(mask: int) -> list[int]:
    members = []
    while mask:
        lowest = mask & -mask
        members.append(lowest.bit_length() - 1)
        mask ^= lowest
    return members


def cheapest_set(removal: Removal, panels: Iterable[str], weights: Sequence[int]) -> int:
    """Mask of the least set of operations that opens every one of `panels` that any opens.

    Ties go to fewer operations, then to the set that comes first in file order. Exact: panels
    with one way are settled first, ways that contain another are dropped, and panels whose
    ways share no operation are searched apart, which keeps every search small.
    """
    ways = [frozenset(removal.ways[panel]) for panel in panels if panel in removal.ways]
    mask, undecided = _settle(ways)
    for group in _groups(undecided):
        mask |= _search(group, weights)
    return mask


def _settle(ways: Iterable[frozenset[int]]) -> tuple[int, set[frozenset[int]]]:
    """Operations that are needed whatever is chosen, and the choices that remain, less those."""
    mask = 0
    undecided = set(ways)
    while True:
        # Of two ways, one within the other, the larger can only cost more.
        rest = {
            frozenset(
                way
                for way in remaining
                if not any(other != way and other & way == other for other in remaining)
            )
            for remaining in ({way & ~mask for way in choice} for choice in undecided)
            if 0 not in remaining
        }
        single = {next(iter(choice)) for choice in rest if len(choice) == 1}
        if not single:
            return mask, rest
        for way in single:
            mask |= way
        undecided = rest


def _groups(choices: Iterable[frozenset[int]]) -> list[list[frozenset[int]]]:
    """Choices parted so that no operation occurs in two groups."""
    groups: list[tuple[int, list[frozenset[int]]]] = []
    for choice in sorted(choices, key=sorted):
        touched, members = 0, [choice]
        for way in choice:
            touched |= way
        apart = []
        for operations, others in groups:
            if operations & touched:
                touched |= operations
                members += others
            else:
                apart.append((operations, others))
        groups = [*apart, (touched, members)]
    return [members for _, members in groups]


def _search(choices: Sequence[frozenset[int]], costs: Sequence[int]) -> int:
    """The cheapest union of one way of each choice, by branch and bound."""
    ordered = sorted(choices, key=len)
    best: tuple[_Key, int] | None = None

    def key(mask: int) -> _Key:
        members = _members(mask)
        return sum(costs[index] for index in members), len(members), tuple(members)

    def search(position: int, mask: int) -> None:
        nonlocal best
        found = key(mask)
        # Operations only ever add cost and number, so a set already dearer cannot win.
        if best is not None and found[:2] > best[0][:2]:
            return
        if position == len(ordered):
            if best is None or found < best[0]:
                best = (found, mask)
        elif any(way | mask == mask for way in ordered[position]):
            search(position + 1, mask)
        else:
            for way in sorted(ordered[position], key=lambda way: key(mask | way)):
                search(position + 1, mask | way)

    search(0, 0)
    assert best is not None
    return best[1]


def removal_order(removal: Removal, mask: int) -> list[OperationRule]:
    """The operations of `mask` in an order that respects `after` and stays at one part.

    At a part everything that is ready comes off, by file order. The next part is one that can be
    finished in one go, if there is one; else the one whose operation stands first in the file.
    """
    waiting = _members(mask)
    done = 0
    part = ""
    order: list[OperationRule] = []
    while waiting:
        ready = [index for index in waiting if removal.after[index] & ~done == 0]
        if not any(removal.parts[index] == part for index in ready):
            part = _next_part(removal, ready, waiting, done)
        chosen = next(index for index in ready if removal.parts[index] == part)
        waiting.remove(chosen)
        done |= 1 << chosen
        order.append(removal.operations[chosen])
    return order


def _next_part(removal: Removal, ready: Sequence[int], waiting: Sequence[int], done: int) -> str:
    """Where to go on: to a part that waits for nothing elsewhere, if there is one."""
    parts = list(dict.fromkeys(removal.parts[index] for index in ready))
    for part in parts:
        of_part = [index for index in waiting if removal.parts[index] == part]
        inside = sum(1 << index for index in of_part)
        if all(removal.after[index] & ~done & ~inside == 0 for index in of_part):
            return part
    return parts[0]


def removal_lines(order: Sequence[OperationRule], tables: MatrixTables) -> list[Line]:
    """A line for each operation, and one for its single-use fasteners where they have a price."""
    rate = money_text(tables.removal_rate, tables.decimals)
    lines: list[Line] = []
    for rule in order:
        lines.append(
            Line(
                "removal", None, rule.label, rule.labour,
                f"{rule.minutes} min, removal and refit", f"{rule.minutes} * {rate} / 60",
            )
        )  # fmt: skip
        if rule.fastener_amount is not None:
            lines.append(
                Line(
                    "fastener", None, f"{rule.label}: fasteners", rule.fastener_amount,
                    f"{rule.fasteners} single-use fasteners, replaced on refit",
                    f"{rule.fasteners} * {rule.fastener_price}",
                )
            )  # fmt: skip
    return lines
