"""Removal & refit: what has to come off so that panels can be pushed, and its price.

Every panel that is pushed needs one operation that opens it, with all that this operation
needs off first; an operation is done and paid once a vehicle. Where several operations
open a panel any one will do, and the set that is cheapest for the whole vehicle is taken:
sets are bit masks over the operations in file order, parted into independent groups and
searched exactly by branch and bound.
Refit is the reverse of removal. Minutes of the shop; amounts in minor units, before tax.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction
from typing import NamedTuple

from hailcalc.lines import Line
from hailcalc.matrix import Matrix, MatrixTables, Operation
from hailcalc.money import minor_units, money_text, rounded

_Key = tuple[int, int, tuple[int, ...]]


class OperationRule(NamedTuple):
    """One operation, compiled; `needs` is the mask of itself and all that must be off before it."""

    id: str
    label: str
    minutes: str
    after: tuple[int, ...]
    needs: int
    labour: int
    fasteners: int
    fastener_price: str
    fastener_amount: int | None
    caution: str


class RemovalRules(NamedTuple):
    """All operations of a matrix in file order, and which of them open a panel."""

    operations: tuple[OperationRule, ...]
    opening: dict[str, tuple[int, ...]]


def compile_removal(matrix: Matrix, tables: MatrixTables) -> RemovalRules:
    """The operations of a checked matrix."""
    position = {operation.id: index for index, operation in enumerate(matrix.removal)}
    after = [tuple(position[name] for name in op.after) for op in matrix.removal]
    needs = _closures(after)
    operations = tuple(
        _compile(operation, after[index], needs[index], tables)
        for index, operation in enumerate(matrix.removal)
    )
    opening: dict[str, tuple[int, ...]] = {}
    for index, operation in enumerate(matrix.removal):
        for panel in dict.fromkeys(operation.opens):
            opening[panel] = (*opening.get(panel, ()), index)
    return RemovalRules(operations, opening)


def _compile(
    operation: Operation, after: tuple[int, ...], needs: int, tables: MatrixTables
) -> OperationRule:
    price = operation.fastener_price
    fastener_amount = None
    if operation.fasteners and price is not None:
        fastener_amount = operation.fasteners * minor_units(price, tables.decimals)
    return OperationRule(
        id=operation.id,
        label=operation.label,
        minutes=operation.minutes,
        after=after,
        needs=needs,
        labour=rounded(Fraction(operation.minutes) * tables.removal_rate / 60),
        fasteners=operation.fasteners,
        fastener_price=price or "",
        fastener_amount=fastener_amount,
        caution=operation.caution,
    )


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


def cheapest_set(rules: RemovalRules, panels: Iterable[str]) -> int:
    """Mask of the cheapest set of operations that opens every one of `panels` that any opens.

    Ties go to fewer operations, then to the set that comes first in file order. Exact: panels
    with one way are settled first, ways that contain another are dropped, and panels whose
    ways share no operation are searched apart, which keeps every search small.
    """
    ways = [
        frozenset(rules.operations[index].needs for index in rules.opening[panel])
        for panel in panels
        if panel in rules.opening
    ]
    mask, undecided = _settle(ways)
    costs = [rule.labour + (rule.fastener_amount or 0) for rule in rules.operations]
    for group in _groups(undecided):
        mask |= _search(group, costs)
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


def removal_order(rules: RemovalRules, mask: int) -> list[OperationRule]:
    """The operations of `mask` in an order that respects `after`, otherwise by file order."""
    waiting = _members(mask)
    done: set[int] = set()
    order: list[OperationRule] = []
    while waiting:
        ready = next(
            index
            for index in waiting
            if all(before in done for before in rules.operations[index].after)
        )
        waiting.remove(ready)
        done.add(ready)
        order.append(rules.operations[ready])
    return order


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
