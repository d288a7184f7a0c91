"""Extras: percentages, minutes or money on top of a panel or the vehicle, under conditions.

Compiled once from the matrix file, so that a shop can add an extra without code. An
extra's conditions look at the panel (metal, access, paint, which panel, which body) and
at its dents (a mark, or how they are reached); the *affected* dents are those the
conditions pick. Percentages work on the panel's printed base and oversize lines (`add`),
or on those and the extras already printed (`compound`). Amounts in minor units.

How glued dents are counted: on a glued panel all of them, on a pushed panel those marked
glue-only. An extra that names a mark *and* an access holds only on panels whose own access
that is, because a tally does not say which dents carry two marks at once.

What an extra asks of a panel (`picked`) and what it comes to (`extra_amount`) stand here once:
one claim asks and reckons panel by panel, a whole book asks once for every kind of panel that
there can be and reckons on arrays.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from typing import Any, Literal, NamedTuple

from hailcalc.claimfile import Panel
from hailcalc.counting import PanelCount
from hailcalc.lines import Line, dents
from hailcalc.matrix import Extra, Matrix, MatrixTables
from hailcalc.money import minor_units, money_text, round_half_away

_PRINTED_ADDENDS = 4
"""A percentage's base is printed as a sum of its lines up to this many, else as one figure."""

_KIND_WORDS = {"repair": "the base", "oversize": "oversize", "extra": "the extras so far"}


class ExtraRule(NamedTuple):
    """One extra, compiled. `rate` is per cent, minutes, or minor units, by `unit`."""

    label: str
    of: Literal["panel", "affected", "vehicle"]
    unit: Literal["percent", "minutes", "money"]
    text: str
    rate: Fraction
    per_dent: bool
    metal: str | None
    access: str | None
    repainted: bool | None
    mark: str | None
    panels: frozenset[str] | None
    bodies: frozenset[str] | None


def compile_extras(matrix: Matrix, decimals: int) -> tuple[ExtraRule, ...]:
    """The extras of a checked matrix in file order."""
    return tuple(_compile(extra, decimals) for extra in matrix.extra)


def _compile(extra: Extra, decimals: int) -> ExtraRule:
    when = extra.when
    unit: Literal["percent", "minutes", "money"]
    if extra.percent is not None:
        unit, text, rate = "percent", extra.percent, Fraction(extra.percent)
    elif extra.minutes is not None:
        unit, text, rate = "minutes", extra.minutes, Fraction(extra.minutes)
    else:
        assert extra.money is not None, "a checked extra has one amount"
        unit, text, rate = "money", extra.money, Fraction(minor_units(extra.money, decimals))
    return ExtraRule(
        label=extra.label,
        of=extra.of,
        unit=unit,
        text=text,
        rate=rate,
        per_dent=extra.per == "dent",
        metal=when.metal,
        access=when.access,
        repainted=when.repainted,
        mark=when.mark,
        panels=None if when.panel is None else frozenset(when.panel),
        bodies=None if when.body is None else frozenset(when.body),
    )


class PanelKind(NamedTuple):
    """What an extra's conditions ask of a panel, its dents apart."""

    panel: str
    body: str
    metal: str
    repainted: bool
    access: str


class Picked(NamedTuple):
    """Which dents an extra counts: those of a mark, or all; `less` says all but those."""

    mark: str | None
    less: bool = False
    always: bool = False
    """Due for the panel as such, whichever dents it has."""


def picked(rule: ExtraRule, kind: PanelKind) -> Picked | None:
    """The dents that an extra of a panel or of its affected dents counts; None if it is not due."""
    if (
        (rule.metal is not None and rule.metal != kind.metal)
        or (rule.repainted is not None and rule.repainted != kind.repainted)
        or (rule.panels is not None and kind.panel not in rule.panels)
        or (rule.bodies is not None and kind.body not in rule.bodies)
    ):
        return None
    own_access = rule.access is None or rule.access == kind.access
    if rule.mark is not None:
        return Picked(rule.mark) if own_access else None
    # For a panel as such, access is its own, whatever way single dents are reached.
    of_panel = rule.of == "panel"
    if of_panel and not own_access:
        return None
    if rule.access is None or rule.access == kind.access == "glue":
        return Picked(None, False, of_panel)
    if kind.access == "glue":
        return Picked(None, True, of_panel)
    return Picked("glue-only", rule.access != "glue", of_panel)


def dents_picked(which: Picked, everything: Any, marks: Mapping[str, Any]) -> Any:
    """How many dents those are: of one panel, or of many as arrays."""
    if which.mark is None:
        return everything * 0 if which.less else everything
    marked = marks.get(which.mark, everything * 0)
    return everything - marked if which.less else marked


def extra_amount(
    rule: ExtraRule, base: Any, affected: Any, everything: Any, repair_rate: int
) -> Any:
    """What an extra comes to, minor units: of one panel or of many, one rounding each.

    `base` is what a percentage works on, `affected` of `everything` the dents that it counts.
    """
    number, denominator = rule.rate.numerator, rule.rate.denominator
    if rule.unit != "percent":
        times = affected if rule.per_dent else 1 + 0 * affected
        if rule.unit == "minutes":
            return round_half_away(number * repair_rate * times, denominator * 60)
        return round_half_away(number * times, denominator)
    if rule.of == "affected":
        return round_half_away(number * base * affected, denominator * 100 * everything)
    return round_half_away(number * base, denominator * 100)


def panel_extras(
    rules: Sequence[ExtraRule],
    panel: Panel,
    count: PanelCount,
    body: str,
    base_lines: Sequence[Line],
    tables: MatrixTables,
    compound: bool,
) -> list[Line]:
    """The extra lines of one priced panel, in file order.

    `base_lines` are its printed base and oversize lines, on which percentages work.
    """
    lines: list[Line] = []
    worked_on = list(base_lines)
    kind = PanelKind(panel.panel, body, panel.metal, panel.repainted, panel.access)
    for rule in rules:
        which = None if rule.of == "vehicle" else picked(rule, kind)
        if which is None:
            continue
        affected = dents_picked(which, count.all, count.marks)
        if not affected and not which.always:
            continue
        line = _panel_line(rule, panel.panel, affected, count.all, worked_on, tables)
        lines.append(line)
        if compound:
            worked_on.append(line)
    return lines


def _panel_line(
    rule: ExtraRule,
    panel: str,
    affected: int,
    everything: int,
    worked_on: Sequence[Line],
    tables: MatrixTables,
) -> Line:
    if rule.unit != "percent":
        times = affected if rule.per_dent else 1
        words = f"{dents(affected)}" if rule.per_dent else "once for the panel"
        return _fixed_line(rule, panel, times, words, tables)
    base = sum(line.amount or 0 for line in worked_on)
    printed, named = _printed_base(worked_on, tables.decimals)
    amount = extra_amount(rule, base, affected, everything, tables.repair_rate)
    if rule.of == "affected" and affected != everything:
        words = f"{rule.text} % of {named} for {affected} of {everything} dents"
        formula = f"{printed} * {rule.text} / 100 * {affected} / {everything}"
    else:
        words = f"{rule.text} % of {named}"
        if rule.of == "affected":
            words += f", all {everything} dents" if everything > 1 else ", its only dent"
        formula = f"{printed} * {rule.text} / 100"
    return Line("extra", panel, rule.label, amount, words, formula)


def _printed_base(lines: Sequence[Line], decimals: int) -> tuple[str, str]:
    """The figure that a percentage works on, as arithmetic and in words: the lines it sums."""
    texts = [money_text(line.amount or 0, decimals) for line in lines]
    kinds = dict.fromkeys(line.kind for line in lines)
    named = " and ".join(_KIND_WORDS[kind] for kind in kinds)
    if len(texts) == 1:
        return texts[0], named
    if len(texts) <= _PRINTED_ADDENDS:
        return f"({' + '.join(texts)})", named
    return money_text(sum(line.amount or 0 for line in lines), decimals), f"{named} together"


def _fixed_line(
    rule: ExtraRule, panel: str | None, times: int, words: str, tables: MatrixTables
) -> Line:
    factor = f"{times} * " if times != 1 else ""
    amount = extra_amount(rule, 0, times, times, tables.repair_rate)
    if rule.unit == "minutes":
        rate = money_text(tables.repair_rate, tables.decimals)
        words = f"{rule.text} min, {words}"
        formula = f"{factor}{rule.text} * {rate} / 60"
    else:
        formula = f"{factor}{rule.text}"
    return Line("extra", panel, rule.label, amount, words, formula)


def vehicle_extras(
    rules: Sequence[ExtraRule], body: str, lines: Sequence[Line], tables: MatrixTables
) -> list[Line]:
    """Extras on the whole vehicle: percentages of all its priced repair lines, or fixed sums."""
    amounts = [line.amount for line in lines if line.kind == "repair" and line.amount is not None]
    if not amounts:
        return []
    base = sum(amounts)
    result: list[Line] = []
    for rule in rules:
        if rule.of != "vehicle" or (rule.bodies is not None and body not in rule.bodies):
            continue
        if rule.unit != "percent":
            result.append(_fixed_line(rule, None, 1, "once for the vehicle", tables))
            continue
        amount = extra_amount(rule, base, 0, 0, tables.repair_rate)
        total = money_text(base, tables.decimals)
        how_many = f"the {len(amounts)} repair lines" if len(amounts) > 1 else "the repair line"
        words = f"{rule.text} % of {how_many}, together {total}"
        result.append(
            Line("extra", None, rule.label, amount, words, f"{total} * {rule.text} / 100")
        )
    return result
