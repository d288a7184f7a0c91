"""The whole pricing against a second, plain implementation that shares no code with it.

`plain_pricing` works out every line with `fractions.Fraction` straight from the rules, and
chooses the removal set by trying every one. Random matrices use all rules, random claims
all kinds of panel.
"""

from __future__ import annotations

from typing import Any

from hypothesis import given, settings

from tests.builders import assert_priced_alike, estimate
from tests.effort import examples
from tests.plain_counting import PlainEdge
from tests.plain_pricing import edges_plainly, price_plainly
from tests.strategies import priced_together


@settings(max_examples=examples(1500))
@given(priced_together())
def test_two_implementations_agree_on_every_line_total_and_near_edge(
    pair: tuple[dict[str, Any], dict[str, Any]],
) -> None:
    claim, matrix = pair
    ours = estimate(claim, matrix)
    plain = price_plainly(claim, matrix)
    assert_priced_alike(ours, plain)
    assert [
        (edge.panel, PlainEdge(edge.dents, edge.column, edge.band, edge.base))
        for edge in ours.near_edges
    ] == edges_plainly(claim, matrix)
