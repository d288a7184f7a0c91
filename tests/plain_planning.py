"""The plan for access a second time: every assignment of methods is tried.

Holds ``plan_plainly``, which says for each panel with access "plan" whether it is pushed, glued
or replaced. A claim and a matrix are plain dicts, costs are exact fractions of the currency's
minor unit, minutes are minutes.

The one idea: what a panel's lines are by each method, and what comes off for any set of pushed
panels, ``plain_pricing`` can tell; so a plan is the least of all combinations of one method a
panel and one set of operations that opens what is pushed. That is slow, and is meant to be.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import product

from tests.plain_pricing import (
    Job,
    PlainLine,
    RemovalSet,
    Table,
    access_of,
    added,
    aims_at_minutes,
    dents_of,
    exact,
    fits_body,
    forbids_glue,
    needs_push_access,
    operations_of,
    panel_lines,
    panels_in_order,
    sets_that_open,
    the_job,
    time_or_money,
    with_tax,
)

METHODS = ["push", "glue", "replace"]
"""Of plans that are equal in all else the one with the earlier method on the earlier panel."""


@dataclass(frozen=True)
class PlainPlan:
    """The method of every planned panel, and what the vehicle then costs and takes.

    The cost is that of the panels, the extras of the vehicle and what comes off, with tax, before
    these are rounded and before the sheet is topped up.
    """

    methods: Mapping[str, str]
    cost: Fraction
    minutes: Fraction


class NoMethodError(ValueError):
    """Some planned panels can't be reached; ``panels`` are their places in the claim."""

    def __init__(self, panels: Sequence[int]) -> None:
        super().__init__(f"no method for panels {list(panels)}")
        self.panels = list(panels)


@dataclass(frozen=True)
class Figures:
    """What one panel comes to by one method."""

    method: str
    cost: Fraction
    minutes: Fraction
    is_pushed: bool
    has_repair: bool


def plan_plainly(claim: Table, matrix: Table) -> PlainPlan:
    """The best plan; refused if some panel has no method."""
    return best_plan(the_job(claim, matrix))


def best_plan(job: Job) -> PlainPlan:
    if unreachable := panels_without_method(job):
        raise NoMethodError(unreachable)
    panels = panels_in_order(job.claim)
    planned = [number for number, panel in enumerate(panels) if is_open(panel)]
    options = [[figures(job, panel, way) for way in methods_open(job, panel)] for panel in panels]
    sets_by_pushed: dict[tuple[str, ...], RemovalSet] = {}

    def rank(
        choice: Sequence[Figures],
    ) -> tuple[Fraction, Fraction, int, list[int], tuple[int, ...]]:
        pushed = tuple(
            panel["panel"] for panel, made in zip(panels, choice, strict=True) if made.is_pushed
        )
        if pushed not in sets_by_pushed:
            sets_by_pushed[pushed] = min(sets_that_open(job, operations_of(job), pushed))
        off = sets_by_pushed[pushed]
        cost, minutes = cost_and_minutes(job, choice)
        first, second = (minutes, cost) if aims_at_minutes(job) else (cost, minutes)
        methods = [METHODS.index(choice[number].method) for number in planned]
        return off.first + first, off.second + second, off.operations, methods, off.places

    best = min(product(*options), key=rank)
    first, second, *_ = rank(best)
    cost, minutes = (second, first) if aims_at_minutes(job) else (first, second)
    methods = {panels[number]["panel"]: best[number].method for number in planned}
    return PlainPlan(methods, cost, minutes)


def is_open(panel: Table) -> bool:
    return panel.get("access") == "plan"


# --- which methods there are ------------------------------------------------------------------


def methods_allowed(job: Job, panel: Table) -> list[str]:
    """What a planned panel may be reached by, whether or not that has a price."""
    dents = dents_of(job, panel)
    if not dents:
        return ["push"]
    allowed = []
    if any("glue-only" not in dent.marks for dent in dents):
        allowed.append("push")
    if not forbids_glue(job, panel):
        allowed.append("glue")
    if panel.get("replace_cost") is not None and panel.get("agreed") is None:
        allowed.append("replace")
    return allowed


def panels_without_method(job: Job) -> list[int]:
    """Places in the claim of the planned panels that nothing is allowed for."""
    return [
        number
        for number, panel in enumerate(job.claim.get("panels") or [])
        if is_open(panel) and not methods_allowed(job, panel)
    ]


def methods_open(job: Job, panel: Table) -> list[str]:
    """What stands to choice: everything allowed, but no price is never weighed against another."""
    if not is_open(panel):
        return [access_of(job, panel)]
    allowed = methods_allowed(job, panel)
    repairs = [method for method in allowed if method != "replace"]
    if any(line.amount is None for way in repairs for line in lines_by(job, panel, way)):
        return ["replace"] if "replace" in allowed else repairs[:1]
    if repairs and aims_at_minutes(job) and panel.get("replace_minutes") is None:
        return repairs
    return allowed


def every_assignment(claim: Table, matrix: Table) -> list[dict[str, str]]:
    """Every choice of one open method for each planned panel."""
    job = the_job(claim, matrix)
    planned = [panel for panel in panels_in_order(claim) if is_open(panel)]
    names = [panel["panel"] for panel in planned]
    choices = product(*(methods_open(job, panel) for panel in planned))
    return [dict(zip(names, choice, strict=True)) for choice in choices]


# --- what a method comes to -------------------------------------------------------------------


def by_method(job: Job, panel: Table, method: str) -> Job:
    return replace(job, methods={panel["panel"]: method})


def lines_by(job: Job, panel: Table, method: str) -> list[PlainLine]:
    return panel_lines(by_method(job, panel, method), panel)


def figures(job: Job, panel: Table, method: str) -> Figures:
    lines = lines_by(job, panel, method)
    repairs = [line for line in lines if line.kind == "repair" and line.amount is not None]
    percent = sum(
        (exact(extra["percent"]) for extra in vehicle_extras(job) if "percent" in extra),
        start=Fraction(0),
    )
    return Figures(
        method=method,
        cost=with_tax(job, "labour") * (added(lines) + percent / 100 * added(repairs)),
        minutes=minutes_of(job, panel, method),
        is_pushed=needs_push_access(by_method(job, panel, method), panel),
        has_repair=bool(repairs),
    )


def minutes_of(job: Job, panel: Table, method: str) -> Fraction:
    """What a panel takes; an agreed price says nothing of that, so the matrix does."""
    if method == "replace":
        return exact(panel.get("replace_minutes") or 0)
    if panel.get("agreed") is not None:
        panel = {**panel, "agreed": None, "access": method}
    amount = added(lines_by(job, panel, method))
    rate = job.money(job.matrix["rates"]["repair"])
    # Where an hour costs nothing, money says nothing of minutes.
    return Fraction(amount * 60, rate) if rate else Fraction(0)


def vehicle_extras(job: Job) -> list[Table]:
    return [
        extra
        for extra in job.matrix.get("extra") or []
        if extra.get("of") == "vehicle" and fits_body(job, extra.get("when") or {})
    ]


def cost_and_minutes(job: Job, choice: Sequence[Figures]) -> tuple[Fraction, Fraction]:
    """Of the panels, and of what the vehicle is charged once if anything on it is repaired."""
    cost = sum((made.cost for made in choice), start=Fraction(0))
    minutes = sum((made.minutes for made in choice), start=Fraction(0))
    if any(made.has_repair for made in choice):
        for extra in vehicle_extras(job):
            if "percent" in extra:
                continue
            cost += with_tax(job, "labour") * time_or_money(job, extra, 1)
            minutes += exact(extra.get("minutes") or 0)
    return cost, minutes
