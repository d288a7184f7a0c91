"""Sections of the sheet on reaching the dents: what comes off, and how each panel was planned.

Operations are listed in the order of removal under the part of the vehicle where one stands
for them; refit is the same list from the end. A planned panel stands with the next best
method, what rules ruled out, and what would change the choice.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import groupby

from hailcalc.access.plan import (
    METHOD_WORDS,
    PanelPlan,
    Plan,
    left_sentences,
    minutes_text,
    reason_words,
    vehicle_words,
)
from hailcalc.lines import Line
from hailcalc.money import money_text
from hailcalc.sheet.layout import BODY, BODY_BOLD, SMALL_INK, Cell, Column, Flow, Row
from hailcalc.sheet.source import Sheet


def removal_groups(sheet: Sheet) -> Iterator[tuple[str, list[tuple[Line, str]]]]:
    """Removal and fastener lines in order with their cautions, each run under its part."""
    estimate = sheet.estimate
    lines = iter([line for line in estimate.lines if line.kind in ("removal", "fastener")])
    steps = zip(estimate.removal, estimate.removal_parts, strict=True)
    for part, run in groupby(steps, key=lambda step: step[1]):
        group: list[tuple[Line, str]] = []
        for rule, _ in run:
            group.append((next(lines), ", ".join(rule.cautions)))
            if rule.fastener_amount is not None:
                group.append((next(lines), ""))
        yield part, group


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
    shown = [panel for panel in plan.panels if panel.dents]
    if not shown:
        return
    write = sheet.write
    flow.section("How each panel is reached, and why", keep=70)
    least = "costs least" if plan.aim == "cost" else "takes the least time"
    words = [
        f"Planned so that the whole vehicle {least}: what comes off for one panel is off for all.",
        *vehicle_words(plan, sheet.labels, sheet.plain_sum),
    ]
    flow.paragraph(write.words(" ".join(words)), SMALL_INK)
    flow.space(3)
    flow.table(_columns(flow, plan, sheet), [_row(panel, plan, sheet) for panel in shown])
    for sentence in left_sentences(plan, sheet.labels):
        flow.paragraph(write.words(sentence), BODY_BOLD)


def _columns(flow: Flow, plan: Plan, sheet: Sheet) -> list[Column]:
    unit = sheet.write.currency if plan.aim == "cost" else "min"
    return [
        Column("Panel", 90),
        Column("Reached by", 50),
        Column(f"Own, {unit}", 52, "right"),
        Column("", 8),
        Column("Next best", 48),
        Column(f"Then more, {unit}", 62, "right"),
        Column("", 8),
        Column("Rules, and what would change it", flow.inner - 318),
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
    words = reason_words(panel, plan.aim, sheet.labels, lambda a: money_text(a, decimals))
    return Row(
        (
            Cell.of(sheet.labels[panel.panel], BODY_BOLD),
            Cell.of(METHOD_WORDS[panel.method], BODY),
            Cell.of(own),
            Cell.of(""),
            Cell.of(instead),
            Cell.of(more),
            Cell.of(""),
            Cell.of(write.words(" ".join(words)), SMALL_INK),
        )
    )
