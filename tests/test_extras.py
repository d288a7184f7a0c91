"""Extras: percentages, minutes or money on top, of a panel, of some of its dents, of a vehicle.

Amounts in minor units. The small matrix is used: a hood with one or two dimes has a base of
15.00, with three to six of 24.00, and repair time costs 1.50 a minute.
"""

from __future__ import annotations

from typing import Any

import pytest

from tests.test_estimate import (
    a_claim,
    a_matrix,
    amounts,
    hood,
    kinds,
    of_kind,
    priced,
    roof,
)

Table = dict[str, Any]


def an_extra(**keys: Any) -> Table:
    return {"id": "extra", "label": "Something more", **keys}


def extra_amounts(panel: Table, *extras: Table, body: str = "sedan", **head: Any) -> list[int]:
    """What the extras of a vehicle with this one panel come to."""
    numbered = [extra | {"id": f"extra-{place}"} for place, extra in enumerate(extras)]
    estimate = priced(a_claim(panel, body=body), a_matrix(extra=numbered, **head))
    return [line.amount or 0 for line in of_kind(estimate, "extra")]


FOUR = {"dime": 4}  # 24.00


# --- when an extra holds ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("when", "panel", "holds"),
    [
        ({}, {}, True),
        ({"metal": "aluminium"}, {"metal": "aluminium"}, True),
        ({"metal": "aluminium"}, {}, False),
        ({"metal": "steel"}, {}, True),
        ({"repainted": True}, {"repainted": True}, True),
        ({"repainted": True}, {}, False),
        ({"repainted": False}, {}, True),
        ({"access": "glue"}, {"access": "glue"}, True),
        ({"access": "glue"}, {}, False),
        ({"access": "push"}, {}, True),
        ({"access": "push"}, {"marked": {"glue-only": FOUR}}, True),
        ({"access": "glue"}, {"marked": {"glue-only": FOUR}}, False),
        ({"mark": "sharp"}, {"marked": {"sharp": {"dime": 1}}}, True),
        ({"mark": "sharp"}, {"marked": {"sharp": {"dime": 0}}}, False),
        ({"mark": "sharp"}, {"oversize": [{"mm": 41, "marks": ["sharp"]}]}, True),
        ({"mark": "sharp"}, {"marked": {"edge": {"dime": 1}}}, False),
        ({"panel": ["roof", "hood"]}, {}, True),
        ({"panel": ["roof"]}, {}, False),
        ({"body": ["sedan", "van"]}, {}, True),
        ({"body": ["van"]}, {}, False),
        ({"metal": "aluminium", "repainted": True}, {"metal": "aluminium"}, False),
        (
            {"metal": "aluminium", "repainted": True},
            {"metal": "aluminium", "repainted": True},
            True,
        ),
        ({"mark": "sharp", "access": "push"}, {"marked": {"sharp": {"dime": 1}}}, True),
        ({"mark": "sharp", "access": "glue"}, {"marked": {"sharp": {"dime": 1}}}, False),
    ],
)
def test_an_extra_on_a_panel_holds_if_all_its_conditions_do(
    when: Table, panel: Table, holds: bool
) -> None:
    found = extra_amounts(hood(tally=FOUR, **panel), an_extra(when=when, money="7.00"))
    assert found == ([700] if holds else [])


# 4 dimes and 1 quarter, 1 oversize dent: 6 dents, of which 3 sharp and 2 glue-only.
MIXED_PANEL: Table = {
    "tally": {"dime": 4, "quarter": 1},
    "marked": {"sharp": {"dime": 2}, "glue-only": {"quarter": 1}},
    "oversize": [{"mm": 41, "marks": ["sharp", "glue-only"]}],
}


@pytest.mark.parametrize(
    ("when", "access", "affected"),
    [
        ({}, "push", 6),
        ({"mark": "sharp"}, "push", 3),
        ({"mark": "sharp"}, "glue", 3),
        ({"mark": "edge"}, "push", 0),
        ({"access": "glue"}, "push", 2),
        ({"access": "glue"}, "glue", 6),
        ({"access": "push"}, "push", 4),
        ({"access": "push"}, "glue", 0),
        ({"mark": "sharp", "access": "push"}, "push", 3),
        ({"mark": "sharp", "access": "push"}, "glue", 0),
        ({"mark": "glue-only"}, "push", 2),
        ({"metal": "aluminium"}, "push", 0),
    ],
)
def test_how_many_dents_an_extra_affects(when: Table, access: str, affected: int) -> None:
    panel = hood(access=access, **MIXED_PANEL)
    each = an_extra(of="affected", per="dent", money="1.00", when=when)
    assert extra_amounts(panel, each) == ([affected * 100] if affected else [])


def test_single_measured_dents_are_affected_as_tallied_ones_are() -> None:
    dents = [{"mm": 12, "marks": ["sharp"]}, {"mm": 12}, {"mm": 41, "marks": ["sharp"]}]
    each = an_extra(of="affected", per="dent", money="1.00", when={"mark": "sharp"})
    assert extra_amounts(hood(dents=dents), each) == [200]


# --- what it comes to -------------------------------------------------------------------------


def test_a_percentage_of_a_panel_is_on_its_base_and_oversize_lines() -> None:
    # 24.00 and 30 + 2.5 × (41 − 30.61) = 55.975 minutes, 83.9625: 83.96. 30 % of 107.96: 32.388
    panel = hood(tally=FOUR, oversize=[{"mm": 41}])
    assert extra_amounts(panel, an_extra(percent="30")) == [3239]


def test_a_percentage_of_the_affected_dents_is_in_proportion_to_all() -> None:
    # 100 % of 24.00 for 1 of 4; 10 % for 3 of 4.
    panel = hood(tally=FOUR, marked={"sharp": {"dime": 1}, "edge": {"dime": 3}})
    found = extra_amounts(
        panel,
        an_extra(of="affected", percent="100", when={"mark": "sharp"}),
        an_extra(of="affected", percent="10", when={"mark": "edge"}),
    )
    assert found == [600, 180]


def test_oversize_dents_count_among_all_and_among_the_affected() -> None:
    # Base 24.00 and 83.96; 50 % for 2 of 5 dents: 107.96 × 0.5 × 0.4 = 21.592
    panel = hood(
        tally=FOUR, marked={"sharp": {"dime": 1}}, oversize=[{"mm": 41, "marks": ["sharp"]}]
    )
    found = extra_amounts(panel, an_extra(of="affected", percent="50", when={"mark": "sharp"}))
    assert found == [2159]


def test_a_share_of_the_affected_dents_is_rounded_once() -> None:
    # 33.3 % of 24.00 for 1 of 3: 2.664
    panel = hood(tally={"dime": 3}, marked={"sharp": {"dime": 1}})
    found = extra_amounts(panel, an_extra(of="affected", percent="33.3", when={"mark": "sharp"}))
    assert found == [266]


def test_percentages_add_up_on_the_base_or_compound_on_what_is_printed() -> None:
    extras = [an_extra(percent="10"), an_extra(money="5.00"), an_extra(percent="10")]
    panel = hood(tally=FOUR)
    # 24.00: 2.40, 5.00, 2.40; compound: 2.40, 5.00, 10 % of 31.40
    assert extra_amounts(panel, *extras, stacking="add") == [240, 500, 240]
    assert extra_amounts(panel, *extras, stacking="compound") == [240, 500, 314]


def test_compounding_works_on_rounded_lines() -> None:
    # 0.5 % of 15.00 is 0.075: 0.08; then 50 % of 15.08 and not of 15.075.
    found = extra_amounts(
        hood(tally={"dime": 1}),
        an_extra(percent="0.5"),
        an_extra(percent="50"),
        stacking="compound",
    )
    assert found == [8, 754]


@pytest.mark.parametrize(
    ("keys", "cents"),
    [
        ({"minutes": "12"}, 1800),
        ({"minutes": "12", "per": "panel"}, 1800),
        ({"minutes": "0.25", "per": "dent"}, 150),  # 4 × 0.25 × 1.50
        ({"minutes": "0.003", "per": "dent"}, 2),  # 4 × 0.003 × 1.50 = 0.018, rounded once
        ({"money": "15.00"}, 1500),
        ({"money": "0.35", "per": "dent"}, 140),
        ({"percent": "0"}, 0),
        ({"percent": "0.02"}, 0),  # 0.0048
        ({"percent": "175"}, 4200),
    ],
)
def test_minutes_and_money_once_a_panel_or_for_each_dent(keys: Table, cents: int) -> None:
    assert extra_amounts(hood(tally=FOUR), an_extra(**keys)) == [cents]


def test_an_extra_per_dent_of_a_panel_counts_the_dents_that_its_mark_picks() -> None:
    panel = hood(tally=FOUR, marked={"edge": {"dime": 3}})
    found = extra_amounts(panel, an_extra(minutes="2", per="dent", when={"mark": "edge"}))
    assert found == [900]


def test_extras_stand_in_file_order_after_the_panel_they_belong_to() -> None:
    matrix = a_matrix(
        extra=[
            an_extra(id="b", label="Second letter", money="1.00"),
            an_extra(id="a", label="First letter", money="2.00"),
        ]
    )
    estimate = priced(a_claim(roof(tally={"dime": 1}), hood(tally={"dime": 1})), matrix)
    assert [(line.panel, line.label) for line in of_kind(estimate, "extra")] == [
        ("hood", "Second letter"),
        ("hood", "First letter"),
        ("roof", "Second letter"),
        ("roof", "First letter"),
    ]


@pytest.mark.parametrize(
    "panel",
    [
        hood(),
        hood(tally={"dime": 0}),
        hood(tally=FOUR, agreed="10.00"),
        hood(tally=FOUR, access="replace", replace_cost="10.00"),
        hood(tally={"dime": 11}),
        {"panel": "decklid", "tally": FOUR},
    ],
)
@pytest.mark.parametrize("of", ["panel", "affected"])
def test_only_panels_that_the_matrix_prices_bear_extras(panel: Table, of: str) -> None:
    assert extra_amounts(panel, an_extra(of=of, money="7.00")) == []


# --- of the vehicle ---------------------------------------------------------------------------


def test_a_vehicle_extra_is_on_all_repair_lines_and_nothing_else() -> None:
    matrix = a_matrix(
        extra=[
            an_extra(id="each", money="4.00"),
            an_extra(id="all", of="vehicle", percent="10"),
        ]
    )
    claim = a_claim(
        hood(tally={"dime": 1}, oversize=[{"mm": 41}]),
        roof(tally={"dime": 3}),
        {"panel": "door-fl", "tally": {"dime": 99}, "agreed": "61.00"},
        {"panel": "door-fr", "access": "replace", "replace_cost": "900.00"},
        other=[{"kind": "part", "label": "Clip", "unit_price": "99.00"}],
    )
    estimate = priced(claim, matrix)
    # 10 % of 15.00 + 24.00 + 61.00
    (whole,) = [line for line in of_kind(estimate, "extra") if line.panel is None]
    assert whole.amount == 1000
    assert "3 repair lines" in whole.words
    assert kinds(estimate)[-2:] == ["extra", "part"]


@pytest.mark.parametrize(
    ("percent", "cents"), [("-10", -150), ("-0.5", -8), ("-0.3", -5), ("-0.2", -3), ("12.5", 188)]
)
def test_a_discount_is_rounded_away_from_zero_too(percent: str, cents: int) -> None:
    # On 15.00: −0.075 is −0.08, −0.045 is −0.05, 1.875 is 1.88.
    assert extra_amounts(hood(tally={"dime": 1}), an_extra(of="vehicle", percent=percent)) == [
        cents
    ]


def test_minutes_and_money_of_a_vehicle_are_once_a_vehicle() -> None:
    matrix = a_matrix(
        extra=[
            an_extra(id="wash", of="vehicle", minutes="18"),
            an_extra(id="pick-up", of="vehicle", money="25.00"),
        ]
    )
    claim = a_claim(hood(tally=FOUR), roof(tally=FOUR))
    assert amounts(priced(claim, matrix)) == [2400, 2400, 2700, 2500]


@pytest.mark.parametrize(("bodies", "found"), [(["van", "suv"], []), (["sedan"], [500])])
def test_a_vehicle_extra_may_ask_for_the_body(bodies: list[str], found: list[int]) -> None:
    extra = an_extra(of="vehicle", money="5.00", when={"body": bodies})
    assert extra_amounts(hood(tally=FOUR), extra) == found


@pytest.mark.parametrize(
    "panel",
    [
        hood(tally={"dime": 11}),
        hood(oversize=[{"mm": 41}]),
        hood(access="replace", replace_cost="640.00"),
        hood(),
    ],
)
def test_without_a_priced_repair_line_there_is_no_vehicle_extra(panel: Table) -> None:
    assert extra_amounts(panel, an_extra(of="vehicle", money="5.00")) == []


def test_a_vehicle_extra_stands_beside_a_panel_that_has_no_price() -> None:
    matrix = a_matrix(extra=[an_extra(of="vehicle", percent="10")])
    estimate = priced(a_claim(hood(tally={"dime": 11}), roof(tally={"dime": 1})), matrix)
    assert amounts(estimate) == [None, 1500, 150]


# --- how it is explained ----------------------------------------------------------------------


def test_a_share_says_of_how_many_dents() -> None:
    panel = hood(tally=FOUR, marked={"sharp": {"dime": 1}})
    matrix = a_matrix(extra=[an_extra(of="affected", percent="50", when={"mark": "sharp"})])
    (line,) = of_kind(priced(a_claim(panel), matrix), "extra")
    assert line.words == "50 % of the base for 1 of 4 dents"
    assert line.formula == "24.00 * 50 / 100 * 1 / 4"


def test_many_oversize_dents_are_added_up_before_the_percentage() -> None:
    panel = hood(tally=FOUR, oversize=[{"mm": 41}] * 4)
    (line,) = of_kind(priced(a_claim(panel), a_matrix(extra=[an_extra(percent="10")])), "extra")
    # 24.00 + 4 × 83.96 = 359.84
    assert line.formula == "359.84 * 10 / 100"
    assert line.amount == 3598
