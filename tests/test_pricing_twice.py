"""The whole pricing against a second, plain implementation that shares no code with it.

`plain_pricing` works out every line with `fractions.Fraction` straight from the rules, and
chooses the removal set by trying every one. Random matrices use all rules, random claims
all kinds of panel.
"""

from __future__ import annotations

from typing import Any

from hypothesis import given, settings

from hailcalc.claimfile import claim_from_data, require_claim
from hailcalc.estimate import Estimate, price
from hailcalc.matrix import matrix_from_data, require_matrix
from tests.effort import examples
from tests.plain_pricing import price_plainly
from tests.strategies import priced_together


def priced(claim: dict[str, Any], matrix: dict[str, Any]) -> Estimate:
    return price(require_claim(claim_from_data(claim)), require_matrix(matrix_from_data(matrix)))


@settings(max_examples=examples(1500))
@given(priced_together())
def test_two_implementations_agree_on_every_line_and_total(
    pair: tuple[dict[str, Any], dict[str, Any]],
) -> None:
    claim, matrix = pair
    ours = priced(claim, matrix)
    plain = price_plainly(claim, matrix)
    assert [(line.kind, line.panel, line.amount) for line in ours.lines] == [
        (line.kind, line.panel, line.amount) for line in plain.lines
    ]
    totals = ours.totals
    assert (totals.subtotal, totals.tax, totals.total, totals.deductible, totals.net) == (
        plain.subtotal,
        plain.tax,
        plain.total,
        plain.deductible,
        plain.net,
    )
    assert totals.complete == plain.complete
