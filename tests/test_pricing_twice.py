"""The whole pricing against a second, plain implementation that shares no code with it.

`plain_pricing` works out every line with `fractions.Fraction` straight from the rules and
chooses the removal set by trying every one; `plain_planning` tries every assignment of methods
to the planned panels. Random matrices use all rules, random claims all kinds of panel.
"""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import assume, given, settings

from hailcalc.estimate import Estimate
from hailcalc.problems import InputError
from tests.builders import assert_priced_alike, estimate
from tests.effort import examples
from tests.plain_counting import PlainEdge
from tests.plain_planning import every_assignment, panels_without_method, plan_plainly
from tests.plain_pricing import PlainSheet, edges_plainly, price_plainly, the_job
from tests.strategies import close_plans, perhaps_refused, priced_together

Table = dict[str, Any]


@settings(max_examples=examples(900))
@given(priced_together())
def test_two_implementations_agree_on_methods_lines_totals_removal_and_near_edges(
    pair: tuple[Table, Table],
) -> None:
    assert_found_twice(*pair)


@settings(max_examples=examples(350))
@given(close_plans())
def test_two_implementations_agree_where_plans_are_nearly_equal(
    pair: tuple[Table, Table],
) -> None:
    assert_found_twice(*pair)


def assert_found_twice(claim: Table, matrix: Table) -> None:
    ours = estimate(claim, matrix)
    plain = price_plainly(claim, matrix)
    if may_be_moved(claim, plain) and methods_of(ours) != plain.methods:
        # A neighbouring plan came to less in print.
        assert ours.totals.total < plain.total
        plain = price_plainly(claim, matrix, methods=methods_of(ours))
    elif ours.plan is not None and ours.plan.minutes is not None:
        # Else a replacement, or a repair for an agreed price, takes nobody knows how long.
        assert ours.plan.minutes == plan_plainly(claim, matrix).minutes
    assert_priced_alike(ours, plain)
    assert [
        (edge.panel, PlainEdge(edge.dents, edge.column, edge.band, edge.base))
        for edge in ours.near_edges
    ] == edges_plainly(claim, matrix, plain.methods)


def may_be_moved(claim: Table, plain: PlainSheet) -> bool:
    """Whether the plan is the cheapest before the topping up, which then may make it dearer."""
    topped_up = any(line.kind == "minimum" for line in plain.lines)
    return topped_up and claim.get("aim", "cost") == "cost"


def methods_of(priced: Estimate) -> dict[str, str]:
    return {panel.panel: panel.method for panel in priced.plan.panels} if priced.plan else {}


@settings(max_examples=examples(300))
@given(perhaps_refused())
def test_a_claim_is_refused_exactly_where_a_planned_panel_has_no_method(
    pair: tuple[Table, Table],
) -> None:
    claim, matrix = pair
    places = panels_without_method(the_job(claim, matrix))
    if not places:
        estimate(claim, matrix)
        return
    with pytest.raises(InputError) as refused:
        estimate(claim, matrix)
    assert [problem.where for problem in refused.value.problems] == [
        ("panels", place, "access") for place in places
    ]


@settings(max_examples=examples(100))
@given(close_plans())
def test_no_assignment_prints_a_total_further_below_the_plans_than_its_gap(
    pair: tuple[Table, Table],
) -> None:
    claim, matrix = pair
    assume(claim["aim"] == "cost")
    ours = estimate(claim, matrix)
    gap = ours.plan.gap if ours.plan else 0
    assert gap >= 0
    for methods in every_assignment(claim, matrix):
        other = price_plainly(claim, matrix, methods=methods)
        assert other.total >= ours.totals.total - gap
