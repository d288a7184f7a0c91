"""What a plan says, as text for the terminal and as JSON: panels, removal in order, refit.

The JSON's `plan` is that of a claim sheet's evidence, null where nothing was to be planned.
Money as decimal strings with a point, minutes to a tenth.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from hailcalc.access.plan import (
    METHOD_WORDS,
    PanelPlan,
    Plan,
    left_sentences,
    minutes_text,
    plan_json,
    reason_words,
    vehicle_words,
)
from hailcalc.columns import columns_text
from hailcalc.estimate import Estimate
from hailcalc.money import money_text
from hailcalc.vehicle import PANEL_LABELS


def plan_report(estimate: Estimate) -> dict[str, Any]:
    """The plan of an estimate with its removal, as JSON values."""
    plan, decimals = estimate.plan, estimate.compiled.tables.decimals
    off = [
        {
            "id": rule.id,
            "label": rule.label,
            "part": part,
            "minutes": rule.minutes,
            "fasteners": rule.fasteners,
            "cautions": list(rule.cautions),
        }
        for rule, part in zip(estimate.removal, estimate.removal_parts, strict=True)
    ]
    return {
        "claim": estimate.claim.claim.number,
        "matrix": estimate.compiled.matrix.name,
        "plan": None if plan is None else plan_json(plan, decimals),
        "removal": off,
        "refit": [rule.id for rule in reversed(estimate.removal)],
        "removal_minutes": minutes_text(estimate.removal_minutes),
        "warnings": list(estimate.warnings),
    }


def plan_text(estimate: Estimate, labels: str = "us") -> str:
    """The plan for the terminal: panels with reasons, what comes off, what it saves."""
    names = PANEL_LABELS[labels]
    header, claim = estimate.compiled.matrix.matrix, estimate.claim
    parts = [
        f"Plan of claim {claim.claim.number}, {claim.vehicle.body}; "
        f"matrix {header.name} revision {header.revision}\n"
    ]
    if estimate.plan is None:
        parts.append('No panel has the access "plan"; every panel is reached as the claim says.\n')
    else:
        parts.append(_panels_text(estimate, estimate.plan, names))
        parts.append("\n".join(_vehicle_lines(estimate, estimate.plan, names)) + "\n")
    if estimate.removal:
        parts.append(_removal_text(estimate))
        refit = "; ".join(rule.label for rule in reversed(estimate.removal))
        parts.append(f"Refit in reverse: {refit}\n")
    else:
        parts.append("Nothing has to come off.\n")
    return "\n".join(parts)


def _panels_text(estimate: Estimate, plan: Plan, names: dict[str, str]) -> str:
    unit = estimate.compiled.tables.currency if plan.aim == "cost" else "min"
    head = ["Panel", "Reached by", f"Own {unit}", "Next best", f"More {unit}", "Why"]
    planned = {panel.panel: panel for panel in plan.panels}
    rows = [head]
    for result in estimate.panels:
        name = result.panel.panel
        if name in planned:
            rows.append(_planned_row(planned[name], estimate, plan, names))
        elif result.count.all:
            access = result.panel.access
            method = access if access == "plan" else METHOD_WORDS[access]
            rows.append([names[name], method, "", "", "", "as the claim says"])
    return columns_text(rows, right=[2, 4])


def _planned_row(
    panel: PanelPlan, estimate: Estimate, plan: Plan, names: dict[str, str]
) -> list[str]:
    decimals = estimate.compiled.tables.decimals
    by_cost = plan.aim == "cost"
    own = minutes_text(panel.minutes)
    if by_cost:
        own = "no price" if panel.own is None else money_text(panel.own, decimals)
    method, more = "", ""
    if panel.next_best is not None:
        other = panel.next_best
        method = METHOD_WORDS[other.method]
        more = money_text(other.more, decimals) if by_cost else minutes_text(other.more_minutes)
    words = reason_words(panel, plan.aim, names, lambda amount: money_text(amount, decimals))
    return [names[panel.panel], METHOD_WORDS[panel.method], own, method, more, " ".join(words)]


def _vehicle_lines(estimate: Estimate, plan: Plan, names: dict[str, str]) -> Iterator[str]:
    decimals, currency = estimate.compiled.tables.decimals, estimate.compiled.tables.currency
    least = "least cost" if plan.aim == "cost" else "least time"
    total = money_text(plan.total, decimals)
    unpriced = [names[each.panel.panel] for each in estimate.panels if not each.priced]
    without = f" without {', '.join(unpriced)}, not priced yet" if unpriced else ""
    took = (
        "" if plan.minutes is None else f", {minutes_text(plan.minutes)} min of repair and removal"
    )
    yield f"Planned for the {least} of the whole vehicle: {total} {currency}{took}{without}."
    yield from vehicle_words(
        plan, names, lambda amount: f"{money_text(amount, decimals)} {currency}"
    )
    yield from left_sentences(plan, names)


def _removal_text(estimate: Estimate) -> str:
    rows = [["Off", "", "At", "min", "Fasteners", "Caution"]]
    steps = zip(estimate.removal, estimate.removal_parts, strict=True)
    for number, (rule, part) in enumerate(steps, 1):
        fasteners = str(rule.fasteners) if rule.fasteners else ""
        cautions = ", ".join(rule.cautions)
        rows.append([str(number), rule.label, part, rule.minutes, fasteners, cautions])
    rows.append(["", "Together", "", minutes_text(estimate.removal_minutes), "", ""])
    return columns_text(rows, right=[0, 3, 4])
