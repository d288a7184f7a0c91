"""Removal & refit: what has to come off for which panels, what it costs, in which order.

Amounts in minor units: a minute costs 1.00. The exact search is held against other solvers in
`published/test_removal_sets.py`; here are the sentences of the trade.
"""

from __future__ import annotations

from typing import Any

import pytest

from hailcalc.sheet.document import evidence
from tests.test_estimate import LINER, a_claim, a_matrix, hood, kinds, of_kind, priced, roof

Table = dict[str, Any]

VISORS: Table = {"id": "visors", "label": "Sun visors", "minutes": "8"}
HANDLES: Table = {"id": "handles", "label": "Grab handles", "minutes": "10"}
LINING: Table = {
    "id": "lining", "label": "Headliner", "minutes": "40", "after": ["handles", "visors"],
    "opens": ["roof", "rail-l", "rail-r"], "caution": "airbag",
}  # fmt: skip


def an_operation(name: str, minutes: str, *opens: str, **more: Any) -> Table:
    return {"id": name, "label": name, "minutes": minutes, "opens": list(opens), **more}


def comes_off(panels: list[Table], *operations: Table, body: str = "sedan") -> list[str]:
    """Labels of what comes off for these panels, in order."""
    estimate = priced(a_claim(*panels, body=body), a_matrix(removal=list(operations)))
    return [line.label for line in of_kind(estimate, "removal")]


ONE = {"dime": 1}


def test_a_pushed_panel_needs_what_opens_it_and_first_what_that_needs() -> None:
    found = comes_off([roof(tally=ONE)], LINING, LINER, HANDLES, VISORS)
    assert found == ["Grab handles", "Sun visors", "Headliner"]


def test_each_operation_is_done_and_paid_once_a_vehicle() -> None:
    rails = [{"panel": f"rail-{side}", "tally": ONE, "agreed": "1.00"} for side in "lr"]
    estimate = priced(a_claim(roof(tally=ONE), *rails), a_matrix(removal=[VISORS, HANDLES, LINING]))
    assert [line.amount for line in of_kind(estimate, "removal")] == [800, 1000, 4000]


@pytest.mark.parametrize(
    ("panel", "needed"),
    [
        (hood(tally=ONE), True),
        (hood(oversize=[{"mm": 41}]), True),
        (hood(dents=[{"mm": 9}]), True),
        (hood(tally={"dime": 99}), True),
        (hood(tally=ONE, agreed="10.00"), True),
        (hood(tally={"dime": 2}, marked={"glue-only": {"dime": 1}}), True),
        (hood(tally=ONE, oversize=[{"mm": 41}], marked={"glue-only": ONE}), True),
        (hood(tally=ONE, marked={"glue-only": ONE}), False),
        (hood(dents=[{"mm": 9, "marks": ["glue-only", "sharp"]}]), False),
        (hood(tally=ONE, access="glue"), False),
        (hood(tally=ONE, access="replace", replace_cost="640.00"), False),
        (hood(tally={"dime": 0}), False),
        (hood(), False),
        (hood(agreed="10.00"), False),
    ],
)
def test_only_a_panel_with_dents_to_push_has_to_be_opened(panel: Table, needed: bool) -> None:
    assert comes_off([panel], LINER) == (["Hood liner"] if needed else [])


def test_a_panel_that_nothing_opens_is_pushed_as_it_is() -> None:
    assert comes_off([roof(tally=ONE)], LINER) == []


def test_the_cheapest_way_for_the_whole_vehicle_is_taken() -> None:
    ways = [
        an_operation("card-front", "14", "door-fl"),
        an_operation("card-rear", "14", "door-rl"),
        an_operation("belt-mouldings", "15", "door-fl", "door-rl"),
    ]
    front = {"panel": "door-fl", "tally": ONE}
    rear = {"panel": "door-rl", "tally": ONE, "agreed": "1.00"}
    assert comes_off([front], *ways) == ["card-front"]
    assert comes_off([front, rear], *ways) == ["belt-mouldings"]


def test_fasteners_count_in_what_is_cheapest() -> None:
    dear = an_operation("clipped", "5", "hood", fasteners=6, fastener_price="1.00")
    assert comes_off([hood(tally=ONE)], dear, an_operation("screwed", "10", "hood")) == ["screwed"]
    assert comes_off([hood(tally=ONE)], dear, an_operation("screwed", "12", "hood")) == ["clipped"]


def test_at_one_price_the_fewest_operations_come_off() -> None:
    two = [an_operation("first", "4"), an_operation("second", "6", "hood", after=["first"])]
    two[0]["opens"] = []
    assert comes_off([hood(tally=ONE)], *two, an_operation("other", "10", "hood")) == ["other"]


def test_at_one_price_and_number_the_file_decides() -> None:
    ways = [an_operation("one", "10", "hood"), an_operation("two", "10", "hood")]
    assert comes_off([hood(tally=ONE)], *ways) == ["one"]
    assert comes_off([hood(tally=ONE)], *reversed(ways)) == ["two"]


def test_at_one_printed_price_the_quicker_way_is_taken() -> None:
    # 0.333 and 0.334 minutes both print 0.33.
    ways = [an_operation("longer", "0.334", "hood"), an_operation("shorter", "0.333", "hood")]
    assert comes_off([hood(tally=ONE)], *ways) == ["shorter"]


def test_what_is_cheapest_is_told_with_tax() -> None:
    # 10.00 of clips are 10.75 with the tax on parts; labour is not taxed here.
    clips = an_operation("clips", "0", "hood", fasteners=1, fastener_price="10.00")
    work = an_operation("work", "10.70", "hood")
    untaxed, taxed = (
        a_matrix(removal=[clips, work]),
        a_matrix(removal=[clips, work], tax={"parts": "7.5"}),
    )
    found = [
        [rule.id for rule in priced(a_claim(hood(tally=ONE)), matrix).removal]
        for matrix in (untaxed, taxed)
    ]
    assert found == [["clips"], ["work"]]


def test_operations_come_off_by_file_order_as_far_as_they_can() -> None:
    operations = [
        an_operation("c", "1", "hood", after=["z"]),
        an_operation("a", "1", "roof"),
        an_operation("z", "1"),
        an_operation("b", "1", "door-fl"),
    ]
    panels = [hood(tally=ONE), roof(tally=ONE), {"panel": "door-fl", "tally": ONE}]
    assert comes_off(panels, *operations) == ["a", "z", "c", "b"]


def test_fasteners_follow_their_operation_as_parts() -> None:
    matrix = a_matrix(
        removal=[LINER | {"fasteners": 6, "fastener_price": "1.10"}], tax={"parts": "10"}
    )
    estimate = priced(a_claim(hood(tally=ONE)), matrix)
    assert [(line.kind, line.amount) for line in estimate.lines] == [
        ("repair", 1500),
        ("removal", 900),
        ("fastener", 660),
        ("tax", 66),
    ]
    assert of_kind(estimate, "fastener")[0].formula == "6 * 1.10"


@pytest.mark.parametrize("fasteners", [{"fasteners": 6}, {"fastener_price": "1.10"}, {}])
def test_without_a_number_and_a_price_there_is_no_fastener_line(fasteners: Table) -> None:
    estimate = priced(a_claim(hood(tally=ONE)), a_matrix(removal=[LINER | fasteners]))
    assert kinds(estimate) == ["repair", "removal"]


def test_fasteners_that_cost_nothing_still_print() -> None:
    free = LINER | {"fasteners": 6, "fastener_price": "0"}
    estimate = priced(a_claim(hood(tally=ONE)), a_matrix(removal=[free]))
    assert [line.amount for line in of_kind(estimate, "fastener")] == [0]


def test_the_estimate_knows_what_comes_off_with_its_cautions() -> None:
    estimate = priced(a_claim(roof(tally=ONE)), a_matrix(removal=[VISORS, HANDLES, LINING]))
    assert [(rule.id, rule.cautions) for rule in estimate.removal] == [
        ("visors", ()),
        ("handles", ()),
        ("lining", ("airbag",)),
    ]


def test_what_a_body_does_not_have_opens_nothing_on_it() -> None:
    rack = an_operation("rack", "20", "roof", body=["wagon", "suv"])
    assert comes_off([roof(tally=ONE)], rack, body="wagon") == ["rack"]
    assert comes_off([roof(tally=ONE)], rack, body="sedan") == []


def test_what_only_some_vehicles_have_comes_off_where_it_is() -> None:
    frame = an_operation("frame", "15", equipment="sunroof")
    pads = an_operation("pads", "5", "roof", after=["frame"])
    matrix = a_matrix(removal=[frame, pads])

    def off(equipment: list[str]) -> list[str]:
        claim = a_claim(roof(tally=ONE))
        claim["vehicle"]["equipment"] = equipment
        return [rule.id for rule in priced(claim, matrix).removal]

    assert off([]) == ["pads"]
    assert off(["sunroof", "roof-rack"]) == ["frame", "pads"]


def test_what_waited_for_a_thing_that_is_not_there_does_not_wait_for_what_that_needed() -> None:
    seal = an_operation("seal", "3")
    frame = an_operation("frame", "15", after=["seal"], equipment="sunroof")
    pads = an_operation("pads", "5", "roof", after=["frame"])
    assert comes_off([roof(tally=ONE)], seal, frame, pads) == ["pads"]


def test_work_stays_at_one_part_of_the_vehicle_as_long_as_it_can() -> None:
    operations = [
        an_operation("hood", "1", "hood"),
        an_operation("visors", "1"),
        an_operation("card", "1", "door-fl"),
        an_operation("fender", "1", "fender-l"),
        an_operation("lining", "1", "roof", after=["visors"]),
        an_operation("rear-card", "1", "door-rl"),
    ]
    named = ["hood", "roof", "fender-l", "door-fl", "door-rl"]
    panels = [{"panel": name, "tally": ONE} for name in named]
    assert comes_off(panels, *operations) == [
        "hood", "fender", "visors", "lining", "card", "rear-card",
    ]  # fmt: skip


def test_a_part_that_waits_for_another_is_gone_to_when_it_can_be_finished() -> None:
    # The lining waits for the seat, which comes off for the cab corner at the rear.
    operations = [
        an_operation("visors", "1"),
        an_operation("seat", "1"),
        an_operation("corner", "1", "cab-corner-l", after=["seat"]),
        an_operation("lining", "1", "roof", after=["visors", "seat"]),
    ]
    panels = [{"panel": name, "tally": ONE} for name in ("roof", "cab-corner-l")]
    found = comes_off(panels, *operations, body="pickup")
    # The seat serves the roof too, the first panel in the sheet's order, and counts to it.
    assert found == ["visors", "seat", "lining", "corner"]


def test_the_sheet_says_the_refit_in_exactly_the_reverse() -> None:
    estimate = priced(a_claim(roof(tally=ONE)), a_matrix(removal=[VISORS, HANDLES, LINING]))
    told = evidence(estimate)["removal"]
    assert told["off"] == ["visors", "handles", "lining"]
    assert told["refit"] == told["off"][::-1]
    assert told["minutes"] == "58"
