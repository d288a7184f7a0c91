"""What belongs to the whole vehicle, and what it all comes to.

`settle` puts the vehicle together from its panels' lines: vehicle extras, removal & refit,
other lines, the topping-up to the minimum, tax, totals. Amounts in minor units; totals are
sums of printed lines.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction
from typing import Any, NamedTuple

from hailcalc.claimfile import ClaimFile, OtherLine
from hailcalc.estimate.compiled import CompiledMatrix
from hailcalc.extras import vehicle_extras
from hailcalc.lines import LABOUR, PARTS, SUBLET, Kind, Line
from hailcalc.matrix import MatrixTables
from hailcalc.money import minor_units, money_text, round_half_away
from hailcalc.removal import (
    OperationRule,
    Removal,
    cheapest_set,
    removal_lines,
    removal_of,
    removal_order,
)


class Totals(NamedTuple):
    """Sums of printed lines in minor units; `complete` is False if a panel has no price yet."""

    subtotal: int
    tax: int
    total: int
    deductible: int
    net: int
    complete: bool

    def as_json(self, decimals: int) -> dict[str, object]:
        """The totals as they stand in a sheet's JSON."""
        names = ("subtotal", "tax", "total", "deductible", "net")
        sums: dict[str, object] = {
            name: money_text(getattr(self, name), decimals) for name in names
        }
        return sums | {"complete": self.complete}


class Settled(NamedTuple):
    """A vehicle's lines and totals; `removal` in order of removal."""

    removal: tuple[OperationRule, ...]
    lines: tuple[Line, ...]
    totals: Totals


def vehicle_removal(claim: ClaimFile, compiled: CompiledMatrix) -> Removal:
    """The operations that the claim's vehicle has."""
    sort = claim.vehicle.body, tuple(sorted(claim.vehicle.equipment))
    found = compiled.removals.get(sort)
    if found is None:
        found = compiled.removals[sort] = removal_of(compiled.removal, *sort)
    return found


def comes_off(claim: ClaimFile, removal: Removal, pushed: Iterable[str]) -> int:
    """Mask of what has to come off so that `pushed` can be pushed: least by the claim's aim."""
    planned = any(panel.access == "plan" for panel in claim.panels)
    return cheapest_set(removal, pushed, removal.weights(claim.aim if planned else "cost"))


def settle(
    claim: ClaimFile, compiled: CompiledMatrix, panel_lines: Sequence[Line], off: int
) -> Settled:
    """All lines of a vehicle whose panels have `panel_lines` and where `off` comes off."""
    lines = list(panel_lines)
    lines += vehicle_extras(compiled.extras, claim.vehicle.body, lines, compiled.tables)
    order = removal_order(vehicle_removal(claim, compiled), off)
    lines += removal_lines(order, compiled.tables)
    lines += [_other_line(other, compiled.tables) for other in claim.other]
    lines += _minimum_line(lines, compiled)
    subtotal = sum_of(lines)
    taxes = _tax_lines(lines, compiled)
    deductible = minor_units(claim.claim.deductible, compiled.tables.decimals)
    total = subtotal + sum_of(taxes)
    totals = Totals(
        subtotal=subtotal,
        tax=sum_of(taxes),
        total=total,
        deductible=deductible,
        net=max(0, total - deductible),
        complete=all(line.amount is not None for line in panel_lines),
    )
    return Settled(tuple(order), (*lines, *taxes), totals)


def sum_of(lines: Iterable[Line]) -> int:
    """The sum of the lines that have an amount."""
    return sum(line.amount for line in lines if line.amount is not None)


def _other_line(other: OtherLine, tables: MatrixTables) -> Line:
    amount = other.quantity * minor_units(other.unit_price, tables.decimals)
    if other.quantity == 1:
        return Line(other.kind, None, other.label, amount, "as priced", other.unit_price)
    words = f"{other.quantity} at {other.unit_price}"
    return Line(
        other.kind, None, other.label, amount, words, f"{other.quantity} * {other.unit_price}"
    )


class TaxGroup(NamedTuple):
    """A tax: percent, as printed and exact, and the kinds of line that it is on."""

    name: str
    text: str
    rate: Fraction
    kinds: frozenset[Kind]


def tax_groups(compiled: CompiledMatrix) -> tuple[TaxGroup, ...]:
    """The three taxes of a matrix."""
    tax = compiled.matrix.tax
    return (
        TaxGroup("labour", tax.labour, Fraction(tax.labour), LABOUR),
        TaxGroup("parts", tax.parts, Fraction(tax.parts), PARTS),
        TaxGroup("sublet", tax.sublet, Fraction(tax.sublet), SUBLET),
    )


def tax_amount(rate: Fraction, base: Any) -> Any:
    """Tax on the sum of a group's printed lines: of one vehicle, or of many as an array."""
    return round_half_away(rate.numerator * base, rate.denominator * 100)


def topping_up(subtotal: Any, minimum: int) -> Any:
    """What is missing to the minimum, 0 if nothing is: of one vehicle, or of many as an array."""
    missing = minimum - subtotal
    return missing * (missing > 0)


def _minimum_line(lines: Sequence[Line], compiled: CompiledMatrix) -> list[Line]:
    subtotal = sum_of(lines)
    amount = topping_up(subtotal, compiled.minimum)
    if not lines or not amount:
        return []
    decimals = compiled.tables.decimals
    minimum, so_far = money_text(compiled.minimum, decimals), money_text(subtotal, decimals)
    return [
        Line(
            "minimum",
            None,
            "Topping up to the minimum",
            amount,
            f"the matrix's minimum for a vehicle, {minimum}, less the lines so far",
            f"{minimum} - {so_far}" if subtotal >= 0 else f"{minimum} - ({so_far})",
        )
    ]


def _tax_lines(lines: Sequence[Line], compiled: CompiledMatrix) -> list[Line]:
    decimals = compiled.tables.decimals
    result: list[Line] = []
    for name, text, rate, kinds in tax_groups(compiled):
        taxed = [line for line in lines if line.kind in kinds and line.amount is not None]
        if rate == 0 or not taxed:
            continue
        base = sum_of(taxed)
        amount = tax_amount(rate, base)
        printed = money_text(base, decimals)
        words = f"{text} % of the {name} lines, together {printed}"
        result.append(
            Line("tax", None, f"Tax on {name}", amount, words, f"{printed} * {text} / 100")
        )
    return result
