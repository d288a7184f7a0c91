"""Sections of the sheet on reaching the dents: what comes off, and how each panel was planned.

Operations are listed in the order of removal under the part of the vehicle where one stands
for them; refit is the same list from the end. A planned panel stands with the next best
method, what rules ruled out, and what would change the choice.
"""

from __future__ import annotations

from collections.abc import Iterator

from hailcalc.access.plan import (
    METHOD_WORDS,
    PanelPlan,
    Plan,
    against_words,
    change_words,
    left_words,
    minutes_text,
    ruled_out_words,
)
from hailcalc.access.rules import GLUE_ONLY
from hailcalc.lines import Line, dents
from hailcalc.money import money_text
from hailcalc.sheet.layout import BODY, BODY_BOLD, SMALL_INK, Cell, Column, Flow, Row
from hailcalc.sheet.source import Sheet


def removal_groups(sheet: Sheet) -> Iterator[tuple[str, list[Line]]]:
    """Removal and fastener lines in order, each run of operations under its part."""
    estimate = sheet.estimate
    lines = iter([line for line in estimate.lines if line.kind in ("removal", "fastener")])
    line = next(lines, None)
    part_before, group = "", list[Line]()
    for rule, part in zip(estimate.removal, estimate.removal_parts, strict=True):
        if part != part_before and group:
            yield part_before, group
            group = []
        part_before = part
        assert line is not None, "every operation has a line"
        group.append(line)
        line = next(lines, None)
        if rule.fastener_amount is not None and line is not None:
            group.append(line)
            line = next(lines, None)
    if group:
        yield part_before, group


def removal_words(sheet: Sheet) -> str:
    """How much comes off in all, and the refit."""
    rules = sheet.estimate.removal
    minutes = sheet.write.figure(minutes_text(sheet.estimate.removal_minutes))
    many = "1 operation" if len(rules) == 1 else f"{len(rules)} operations"
    fasteners = sum(rule.fasteners for rule in rules)
    new = f", {fasteners} single-use fasteners" if fasteners else ""
    refit = "; ".join(rule.label for rule in reversed(rules))
    return f"{many}, {minutes} min of removal and refit{new}. Refit in reverse: {refit}."


def planned(flow: Flow, sheet: Sheet) -> None:
    """How each planned panel is reached, and why."""
    plan = sheet.estimate.plan
    if plan is None:
        return
    shown = [panel for panel in plan.panels if panel.minutes or panel.own or panel.ruled_out]
    if not shown:
        return
    flow.section("How each panel is reached, and why", keep=70)
    flow.paragraph(_plan_words(plan, sheet), SMALL_INK)
    flow.space(3)
    flow.table(_columns(flow, plan, sheet), [_row(panel, plan, sheet) for panel in shown])
    for panel in shown:
        if panel.left:
            words = sheet.write.words(left_words(panel))
            flow.paragraph(f"{sheet.labels[panel.panel]}: {words}", BODY_BOLD)


def _plan_words(plan: Plan, sheet: Sheet) -> str:
    write = sheet.write

    def money(amount: int) -> str:
        # Without grouping, so that only decimal points are left to the locale.
        return f"{money_text(amount, write.decimals)} {write.currency}"

    least = "costs least" if plan.aim == "cost" else "takes the least time"
    versus = [
        write.words(against_words(plan, "push", sheet.labels, money)),
        write.words(against_words(plan, "glue", sheet.labels, money)),
    ]
    gap = ""
    if plan.gap:
        most = write.amount(plan.gap)
        gap = f" Rounding and the minimum leave open whether another plan is lower by up to {most}."
    return (
        f"Planned so that the whole vehicle {least}: what comes off for one panel is off for "
        f"all. {' '.join(versus)}{gap}"
    )


def _columns(flow: Flow, plan: Plan, sheet: Sheet) -> list[Column]:
    unit = sheet.write.currency if plan.aim == "cost" else "min"
    return [
        Column("Panel", 90),
        Column("Reached by", 50),
        Column(f"Own, {unit}", 52, "right"),
        Column("Next best", 48),
        Column(f"Then more, {unit}", 62, "right"),
        Column("Rules, and what would change it", flow.inner - 302),
    ]


def _row(panel: PanelPlan, plan: Plan, sheet: Sheet) -> Row:
    write = sheet.write
    decimals = write.decimals
    by_cost = plan.aim == "cost"
    own = sheet.amount(panel.own) if by_cost else write.figure(minutes_text(panel.minutes))
    instead, more = "none", ""
    if panel.next_best is not None:
        other = panel.next_best
        instead = METHOD_WORDS[other.method]
        more = (
            write.amount(other.more) if by_cost else write.figure(minutes_text(other.more_minutes))
        )
    glued = [f"{dents(panel.glued, GLUE_ONLY)} glued."] if panel.method == "push" else []
    words = [
        *(glued if panel.glued else []),
        *ruled_out_words(panel),
        *(
            change_words(change, plan.aim, sheet.labels, lambda a: money_text(a, decimals))
            for change in panel.changes
        ),
    ]
    return Row(
        (
            Cell.of(sheet.labels[panel.panel], BODY_BOLD),
            Cell.of(METHOD_WORDS[panel.method], BODY),
            Cell.of(own),
            Cell.of(instead),
            Cell.of(more),
            Cell.of(write.words(" ".join(words)), SMALL_INK),
        )
    )
