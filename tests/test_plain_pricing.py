"""The plain pricing against sums done by hand, so that it can be trusted as the second opinion.

Times are minutes, money US dollars unless a test says otherwise. Every expected figure has its
arithmetic beside it and none comes from running the code.
"""

from __future__ import annotations

from copy import deepcopy
from fractions import Fraction
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given

from tests.plain_counting import (
    NANOMETRES,
    PlainEdge,
    PlainPanel,
    area_mm2,
    area_over_squares,
    beyond_mm,
    by_largest_remainder,
    covers,
    marked_dents,
    pairs_marked_twice,
    paths_of,
    squared_distance,
)
from tests.plain_planning import NoMethodError, methods_allowed, plan_plainly
from tests.plain_pricing import (
    PlainLine,
    PlainSheet,
    can_never_be_glued,
    edges_plainly,
    half_away,
    price_plainly,
    the_job,
)
from tests.strategies import priced_together

Table = dict[str, Any]

# Repair at 90.00 an hour is 1.50 a minute, removal at 60.00 an hour 1.00 a minute.
PLAIN_MATRIX: Table = {
    "matrix": {
        "name": "larkspur",
        "currency": "USD",
        "effective": "2026-03-01",
        "coins": "us",
        "columns": ["dime", "quarter", "half-dollar"],
        "cells": "minutes",
        "mixed": "layers",
        "within_band": "flat",
        "stacking": "add",
    },
    "rates": {"repair": "90.00", "removal": "60.00"},
    "grid": [
        {
            "name": "flat panels",
            "panels": ["hood", "roof", "door-fl"],
            "bands": [1, 3, 7],
            "last": 10,
            "rows": [[10, 14, "20.5"], [16, 22, 34], [28, 40, 60]],
        }
    ],
    "oversize": {"minutes": "30", "minutes_per_mm": "2.5"},
}


def matrix(**changes: Any) -> Table:
    """The plain matrix with other tables, or with other keys in its first table."""
    made = deepcopy(PLAIN_MATRIX)
    tables = ("rates", "extra", "removal", "tax", "access")
    for key, value in changes.items():
        (made if key in tables else made["matrix"])[key] = value
    return made


def claim(*panels: Table, **more: Any) -> Table:
    return {
        "claim": {"number": "C-1", "date_of_loss": "2026-05-19", **more.pop("claim", {})},
        "vehicle": {"body": "sedan", **more.pop("vehicle", {})},
        "panels": list(panels),
        **more,
    }


def hood(**more: Any) -> Table:
    return {"panel": "hood", **more}


def amounts(sheet: PlainSheet) -> list[int | None]:
    return [line.amount for line in sheet.lines]


def test_a_half_is_rounded_away_from_zero() -> None:
    halves = [Fraction(5, 2), Fraction(-5, 2), Fraction(249, 100), Fraction(-249, 100)]
    assert [half_away(value) for value in halves] == [3, -3, 2, -2]


FIVE_DENTS = {"dime": 2, "nickel": 1, "quarter": 1, "half-dollar": 1}


@pytest.mark.parametrize(
    ("mixed", "within_band", "cents"),
    [
        # 2 dimes, 2 in the quarter column (a nickel goes there), 1 half-dollar: 5 dents.
        # Flat, rows [10 14 20.5] from 1, [16 22 34] from 3, [28 40 60] from 7.
        # layers: 5 dents at dime 16; 3 at quarter or larger 22 − 16; 1 half-dollar 20.5 − 14:
        #   16 + 6 + 6.5 = 28.5 minutes, at 1.50: 42.75
        ("layers", "flat", 4275),
        # share: (2 × 16 + 2 × 22 + 1 × 34) / 5 = 110 / 5 = 22 minutes: 33.00
        ("share", "flat", 3300),
        # largest: 34 minutes: 51.00
        ("largest", "flat", 5100),
        # most: two dimes and two quarters tie, the larger goes: 22 minutes: 33.00
        ("most", "flat", 3300),
        # each: 2 dimes 10, 2 quarters 14, 1 half-dollar 20.5: 44.5 minutes: 66.75
        ("each", "flat", 6675),
        # Ramp at 5 dents, halfway from 3 to 7: dime 22, quarter 31, half-dollar 47.
        #   At 3 dents as written; at 2 dents halfway from 1 to 3: dime 13, quarter 18.
        # layers: 22 + (22 − 16) + (20.5 − 14) = 34.5 minutes: 51.75
        ("layers", "ramp", 5175),
        # share: (2 × 22 + 2 × 31 + 47) / 5 = 153 / 5 = 30.6 minutes: 45.90
        ("share", "ramp", 4590),
        # largest: 47 minutes: 70.50
        ("largest", "ramp", 7050),
        # most: 31 minutes: 46.50
        ("most", "ramp", 4650),
        # each: 13 + 18 + 20.5 = 51.5 minutes: 77.25
        ("each", "ramp", 7725),
    ],
)
def test_one_panel_with_several_sizes_under_each_rule(
    mixed: str, within_band: str, cents: int
) -> None:
    sheet = price_plainly(
        claim(hood(tally=FIVE_DENTS)), matrix(mixed=mixed, within_band=within_band)
    )
    assert sheet.lines == [PlainLine("repair", "hood", "", cents)]


def test_the_last_row_is_flat_up_to_the_last_count_and_beyond_it_there_is_no_price() -> None:
    ramp = matrix(within_band="ramp")
    # 10 dents in the row from 7: 28 minutes at 1.50 = 42.00
    assert amounts(price_plainly(claim(hood(tally={"dime": 10})), ramp)) == [4200]
    unpriced = price_plainly(claim(hood(tally={"dime": 11}, oversize=[{"mm": 33}])), ramp)
    assert unpriced.lines == [PlainLine("repair", "hood", "", None)]
    assert not unpriced.complete


def test_money_cells_are_whole_money_or_money_with_decimals() -> None:
    money = matrix(cells="money", mixed="share")
    # A dime and a half-dollar of two dents: (10 + 20.5) / 2 = 15.25
    assert amounts(price_plainly(claim(hood(tally={"dime": 1, "half-dollar": 1})), money)) == [1525]
    # 5 dimes, 1 quarter, 1 half-dollar: (140 + 40 + 60) / 7 = 34.285… = 34.29
    seven = hood(tally={"dime": 5, "quarter": 1, "half-dollar": 1})
    assert amounts(price_plainly(claim(seven), money)) == [3429]


def test_a_yen_has_no_decimals_and_a_dinar_three() -> None:
    # 10 minutes at 5 501 yen an hour: 916.83… = 917
    yen = matrix(currency="JPY", rates={"repair": "5501", "removal": "0"})
    assert amounts(price_plainly(claim(hood(tally={"dime": 1})), yen)) == [917]
    # 10 minutes at 12.345 dinars an hour: 2.0575 = 2.058
    dinar = matrix(currency="KWD", rates={"repair": "12.345", "removal": "0"})
    assert amounts(price_plainly(claim(hood(tally={"dime": 1})), dinar)) == [2058]


def test_measured_dents_are_sorted_into_columns_and_beyond_the_largest_are_oversize() -> None:
    # 17.91 is still a dime, 17.92 a quarter; 33.61 is 3 mm beyond the half-dollar's 30.61.
    # Two dents in the row from 1: 10 + (14 − 10) = 14 minutes = 21.00
    # Oversize: 30 + 2.5 × 3 = 37.5 minutes = 56.25
    sheet = price_plainly(
        claim(hood(dents=[{"mm": 33.61}, {"mm": 17.91}, {"mm": 17.92}])), matrix()
    )
    assert sheet.lines == [
        PlainLine("repair", "hood", "", 2100),
        PlainLine("oversize", "hood", "", 5625),
    ]


def test_a_panel_is_replaced_or_agreed_instead_of_priced_and_panels_have_an_order() -> None:
    extra = [{"id": "x", "label": "X", "when": {"metal": "steel"}, "percent": "50"}]
    sheet = price_plainly(
        claim(
            {"panel": "rail-l", "tally": {"dime": 1}},  # in no grid
            {"panel": "door-fl", "access": "replace", "replace_cost": "640.00", "dents": []},
            {"panel": "roof", "access": "glue", "tally": {"dime": 99}, "agreed": "1234.50"},
            {"panel": "hood", "tally": {}},  # no dents
        ),
        matrix(extra=extra),
    )
    assert sheet.lines == [
        PlainLine("repair", "roof", "", 123450),
        PlainLine("body", "door-fl", "", 64000),
        PlainLine("repair", "rail-l", "", None),
    ]
    assert (sheet.subtotal, sheet.complete) == (187450, False)


EXTRAS: list[Table] = [
    {"id": "metal", "label": "Aluminium", "when": {"metal": "aluminium"}, "percent": "28"},
    {
        "id": "braced",
        "label": "Braced",
        "when": {"mark": "braced"},
        "of": "affected",
        "percent": "50",
    },
    {
        "id": "lines",
        "label": "Body line",
        "when": {"mark": "body-line"},
        "minutes": "3",
        "per": "dent",
    },
    {"id": "glued", "label": "Glue", "when": {"access": "glue"}, "of": "affected", "money": "4.25"},
    {"id": "sharp", "label": "Sharp", "when": {"mark": "sharp"}, "percent": "10"},
    {
        "id": "fleet",
        "label": "Fleet",
        "of": "vehicle",
        "when": {"body": ["sedan"]},
        "percent": "-5",
    },
]

MARKED_HOOD = hood(
    metal="aluminium",
    tally={"dime": 4, "quarter": 3},
    marked={"braced": {"dime": 2}, "body-line": {"quarter": 1}, "glue-only": {"dime": 1}},
    oversize=[{"mm": 34.61, "marks": ["braced", "body-line"]}],
)


@pytest.mark.parametrize(
    ("stacking", "braced"),
    [
        # 3 of 8 dents are braced, oversize included. 50 % × 111.00 × 3/8 = 20.8125
        ("add", 2081),
        # The aluminium extra stands before it: 50 % × (111.00 + 31.08) × 3/8 = 26.64
        ("compound", 2664),
    ],
)
def test_extras_are_of_the_panel_of_the_dents_affected_or_of_the_vehicle(
    stacking: str, braced: int
) -> None:
    sheet = price_plainly(claim(MARKED_HOOD), matrix(extra=EXTRAS, stacking=stacking))
    assert sheet.lines == [
        # 7 dents: 28 + (22 − 16 for 3 quarters) = 34 minutes at 1.50
        PlainLine("repair", "hood", "", 5100),
        # 4 mm beyond: 30 + 4 × 2.5 = 40 minutes at 1.50; together 111.00
        PlainLine("oversize", "hood", "", 6000),
        # 28 % × 111.00
        PlainLine("extra", "hood", "metal", 3108),
        PlainLine("extra", "hood", "braced", braced),
        # 2 dents on the body line: 2 × 3 minutes at 1.50
        PlainLine("extra", "hood", "lines", 900),
        # one dent is left to glue, and the extra is once a panel
        PlainLine("extra", "hood", "glued", 425),
        # no dent is sharp; and of the vehicle −5 % × 51.00, the repair line alone
        PlainLine("extra", None, "fleet", -255),
    ]


def test_an_extra_for_access_alone_counts_the_dents_reached_that_way() -> None:
    by_dent = {"of": "affected", "money": "1.00", "per": "dent"}
    extras = [
        {"id": "push", "label": "Push", "when": {"access": "push"}, **by_dent},
        {"id": "glue", "label": "Glue", "when": {"access": "glue"}, **by_dent},
        {"id": "both", "label": "Edge", "when": {"access": "push", "mark": "edge"}, **by_dent},
    ]
    dents = {"tally": {"dime": 5}, "marked": {"glue-only": {"dime": 2}, "edge": {"dime": 1}}}
    sheet = price_plainly(
        claim(hood(**dents), {"panel": "roof", "access": "glue", **dents}), matrix(extra=extras)
    )
    assert [line for line in sheet.lines if line.kind == "extra"] == [
        PlainLine("extra", "hood", "push", 300),
        PlainLine("extra", "hood", "glue", 200),
        PlainLine("extra", "hood", "both", 100),
        PlainLine("extra", "roof", "glue", 500),
    ]


def removal(name: str, minutes: str, opens: list[str], **more: Any) -> Table:
    return {"id": name, "label": name, "minutes": minutes, "opens": opens, **more}


LINER = removal("liner", "20", ["hood"])
HEADLINER = removal("headliner", "18", ["roof"], after=["trim"])
TRIM = removal("trim", "6", [], fasteners=4, fastener_price="0.50")


def removed(sheet: PlainSheet) -> list[tuple[str, str, int | None]]:
    return [
        (line.kind, line.hint, line.amount)
        for line in sheet.lines
        if line.kind in ("removal", "fastener")
    ]


BY_ITSELF = [("removal", "trim", 600), ("fastener", "trim", 200), ("removal", "headliner", 1800)]


@pytest.mark.parametrize(
    ("panels", "minutes", "expected"),
    [
        # Hood and roof one by one: 20.00 + 18.00 + 6.00 + 4 × 0.50 = 46.00.
        # Both at once for 35.00; at the same 46.00 one by one takes 44 minutes, 2 fewer.
        (["hood", "roof"], "35", [("removal", "cowl", 3500)]),
        (["hood", "roof"], "45.99", [("removal", "cowl", 4599)]),
        (["hood", "roof"], "46", [("removal", "liner", 2000), *BY_ITSELF]),
        # The roof alone: 26.00. The trim goes first, though it stands later in the file.
        (["roof"], "35", BY_ITSELF),
        # The hood alone, two single operations at 20.00: the one that stands first.
        (["hood"], "20", [("removal", "liner", 2000)]),
        # Nothing opens a door: it is pushed with nothing removed.
        (["door-fl"], "20", []),
    ],
)
def test_the_cheapest_way_to_reach_all_pushed_panels_is_taken(
    panels: list[str], minutes: str, expected: list[tuple[str, str, int]]
) -> None:
    operations = [LINER, removal("cowl", minutes, ["hood", "roof"]), HEADLINER, TRIM]
    hit = [{"panel": panel, "tally": {"dime": 1}} for panel in panels]
    assert removed(price_plainly(claim(*hit), matrix(removal=operations))) == expected


def test_of_sets_that_cost_and_take_the_same_the_one_with_fewer_operations_is_taken() -> None:
    # Liner and lining 20 + 16 minutes, or the cowl alone with 36.
    operations = [LINER, removal("lining", "16", ["roof"]), removal("cowl", "36", ["hood", "roof"])]
    hit = [{"panel": panel, "tally": {"dime": 1}} for panel in ("hood", "roof")]
    sheet = price_plainly(claim(*hit), matrix(removal=operations))
    assert removed(sheet) == [("removal", "cowl", 3600)]


def test_tax_decides_which_way_is_the_cheapest() -> None:
    # By the trim 10.00 and fasteners for 2.00, by the cowl 12.01. Without tax the trim is 0.01
    # less; with 20 % on parts it is 10.00 + 2.40 against 12.01.
    operations = [
        removal("trim", "10", ["hood"], fasteners=4, fastener_price="0.50"),
        removal("cowl", "12.01", ["hood"]),
    ]
    hit = claim(hood(tally={"dime": 1}))
    untaxed = price_plainly(hit, matrix(removal=operations))
    taxed = price_plainly(hit, matrix(removal=operations, tax={"parts": "20"}))
    assert [line[1] for line in removed(untaxed)] == ["trim", "trim"]
    assert [line[1] for line in removed(taxed)] == ["cowl"]


ROOF_WITH_SUNROOF = [
    removal("frame", "30", [], equipment="sunroof", after=["shade"]),
    removal("shade", "5", []),
    removal("pads", "8", ["roof"], after=["frame", "lining"]),
    removal("lining", "40", [], body=["sedan", "wagon"]),
]


@pytest.mark.parametrize(
    ("vehicle", "off"),
    [
        ({"body": "sedan", "equipment": ["sunroof"]}, ["shade", "frame", "lining", "pads"]),
        # Without the frame nothing waits for the shade.
        ({"body": "sedan", "equipment": ["roof-rack"]}, ["lining", "pads"]),
        ({"body": "van"}, ["pads"]),
    ],
)
def test_what_a_vehicle_does_not_have_does_not_come_off(vehicle: Table, off: list[str]) -> None:
    roof = {"panel": "roof", "tally": {"dime": 1}}
    sheet = price_plainly(claim(roof, vehicle=vehicle), matrix(removal=ROOF_WITH_SUNROOF))
    assert [line[1] for line in removed(sheet)] == off


def test_one_part_of_the_vehicle_is_finished_before_the_next() -> None:
    operations = [
        removal("card-l", "1", ["door-fl"]),
        # Opens nothing itself, but the roof's lining waits for it: it is the roof's.
        removal("visors", "1", []),
        removal("liner", "1", ["hood"], after=["grille"]),
        removal("card-r", "1", ["door-fr"]),
        removal("lining", "1", ["roof"], after=["visors", "lamps"]),
        removal("cowl", "1", ["hood"], after=["liner"]),
        # Opens the hood too, which a sheet lists before the decklid.
        removal("lamps", "1", ["decklid", "hood"]),
        removal("grille", "1", ["fender-r"]),
        removal("belt-l", "1", ["door-rl"], after=["card-l"]),
    ]
    hit = [
        {"panel": panel, "tally": {"dime": 1}}
        for panel in ("door-rl", "door-fr", "roof", "decklid", "fender-r")
    ]
    sheet = price_plainly(claim(*hit), matrix(removal=operations))
    # Left side, then: the roof's visors stand first, but its lining waits for the lamps; the
    # right side can be finished and stands before the front. Then the front, then the roof.
    assert [line[1] for line in removed(sheet)] == [
        "card-l",
        "belt-l",
        "card-r",
        "lamps",
        "grille",
        "visors",
        "lining",
    ]


def test_if_no_part_can_be_finished_the_first_that_is_ready_is_begun() -> None:
    operations = [
        removal("lining", "1", ["rail-l"], after=["cowl"]),
        # The fender's arch liner waits for it, but the roof comes first on a sheet.
        removal("visors", "1", ["roof"]),
        removal("cowl", "1", ["hood"]),
        removal("arch", "1", ["fender-l"], after=["visors"]),
    ]
    hit = [{"panel": panel, "tally": {"dime": 1}} for panel in ("rail-l", "fender-l")]
    sheet = price_plainly(claim(*hit), matrix(removal=operations))
    # The roof waits for the front's cowl, the front for the roof's visors.
    assert [line[1] for line in removed(sheet)] == ["visors", "cowl", "arch", "lining"]


@pytest.mark.parametrize(
    ("panel", "is_removed"),
    [
        (hood(tally={"dime": 2}, marked={"glue-only": {"dime": 1}}), True),
        (hood(tally={"dime": 2}, marked={"glue-only": {"dime": 2}}), False),
        (hood(oversize=[{"mm": 35, "marks": []}]), True),
        (hood(dents=[{"mm": 35, "marks": ["glue-only", "edge"]}]), False),
        (hood(tally={"dime": 2}, agreed="80.00"), True),
        (hood(tally={"dime": 99}), True),
        (hood(tally={"dime": 2}, access="glue"), False),
        (hood(tally={"dime": 2}, access="replace", replace_cost="80.00"), False),
        (hood(agreed="80.00"), False),
    ],
)
def test_something_comes_off_only_for_a_pushed_panel_with_a_dent_to_push(
    panel: Table, is_removed: bool
) -> None:
    assert bool(removed(price_plainly(claim(panel), matrix(removal=[LINER])))) == is_removed


def test_other_work_the_minimum_tax_and_the_deductible_end_the_sheet() -> None:
    sheet = price_plainly(
        claim(
            hood(tally={"dime": 1}),
            other=[
                {"kind": "part", "label": "Moulding", "quantity": 3, "unit_price": "9.99"},
                {"kind": "sublet", "label": "Glass", "quantity": 1, "unit_price": "40.00"},
                {"kind": "refinish", "label": "Edge", "quantity": 2, "unit_price": "12.50"},
            ],
            claim={"deductible": "200.00"},
        ),
        matrix(minimum="150.00", tax={"labour": "10", "parts": "7.5", "sublet": "0"}),
    )
    assert sheet == PlainSheet(
        lines=[
            PlainLine("repair", "hood", "", 1500),
            PlainLine("part", None, "Moulding", 2997),
            PlainLine("sublet", None, "Glass", 4000),
            PlainLine("refinish", None, "Edge", 2500),
            # 15.00 + 29.97 + 40.00 + 25.00 = 109.97, short of 150.00 by
            PlainLine("minimum", None, "", 4003),
            # 10 % × (15.00 + 25.00 + 40.03) = 8.003
            PlainLine("tax", None, "labour", 800),
            # 7.5 % × 29.97 = 2.24775
            PlainLine("tax", None, "parts", 225),
        ],
        subtotal=15000,
        tax=1025,
        total=16025,
        deductible=20000,
        net=0,
        complete=True,
    )


def test_a_claim_without_a_line_owes_no_minimum() -> None:
    sheet = price_plainly(claim(hood()), matrix(minimum="150.00"))
    assert (sheet.lines, sheet.total, sheet.complete) == ([], 0, True)


# --- access planning --------------------------------------------------------------------------


def planned(name: str = "hood", **more: Any) -> Table:
    return {"panel": name, "access": "plan", **({"tally": {"dime": 2}} | more)}


GLUE_30 = [{"id": "glue", "label": "Glue", "when": {"access": "glue"}, "percent": "30"}]


def methods(panels: Table, **matrix_tables: Any) -> dict[str, str]:
    return dict(plan_plainly(panels, matrix(**matrix_tables)).methods)


def test_glue_saves_the_trim_until_enough_panels_share_it() -> None:
    # Two dimes 15.00 pushed, 19.50 glued. The lining takes 9 minutes, 9.00, once for all.
    lining = [removal("lining", "9", ["hood", "roof", "door-fl"])]
    one, two, three = (
        claim(*map(planned, names))
        for names in (["hood"], ["hood", "roof"], ["hood", "roof", "door-fl"])
    )
    assert methods(one, extra=GLUE_30, removal=lining) == {"hood": "glue"}
    # Two: 30.00 + 9.00 is 39.00 either way; push takes 20 + 9 minutes, glue 26.
    assert methods(two, extra=GLUE_30, removal=lining) == {"hood": "glue", "roof": "glue"}
    assert set(methods(three, extra=GLUE_30, removal=lining).values()) == {"push"}


def test_cost_and_minutes_of_a_plan_before_rounding() -> None:
    plan = plan_plainly(
        claim(planned(), {"panel": "roof", "access": "replace", "replace_cost": "10.00"}),
        matrix(
            extra=[
                *GLUE_30,
                {"id": "fleet", "label": "Fleet", "of": "vehicle", "percent": "-5"},
                {"id": "setup", "label": "Set-up", "of": "vehicle", "minutes": "4"},
            ],
            removal=[removal("liner", "2", ["hood"], fasteners=1, fastener_price="0.25")],
            tax={"labour": "7.5", "parts": "10"},
        ),
    )
    assert plan.methods == {"hood": "push"}
    # Labour: 15.00 − 5 % of it 0.75 + 4 minutes 6.00 + roof 10.00 + liner 2.00 = 32.25, taxed
    # 34.66875; the fastener 0.275.
    assert plan.cost == Fraction("3494.375")
    assert plan.minutes == 10 + 4 + 2


def test_the_aim_chooses_between_cost_and_minutes_and_an_unknown_time_is_not_chosen() -> None:
    cheap = planned(replace_cost="5.00", replace_minutes="30")
    assert methods(claim(cheap)) == {"hood": "replace"}
    assert methods(claim(cheap, aim="minutes")) == {"hood": "push"}
    dear = planned(replace_cost="500.00", replace_minutes="9.99")
    assert methods(claim(dear)) == {"hood": "push"}
    assert methods(claim(dear, aim="minutes")) == {"hood": "replace"}
    untimed = planned(replace_cost="5.00")
    assert methods(claim(untimed, aim="minutes")) == {"hood": "push"}
    # In no grid, so that push has no price.
    beyond = planned("rail-l", replace_cost="5.00")
    assert methods(claim(beyond, aim="minutes")) == {"rail-l": "replace"}
    # An agreed price says nothing of the time: two dimes glued would be 13 minutes.
    agreed = planned(agreed="1.00")
    assert plan_plainly(claim(agreed), matrix(extra=GLUE_30)).minutes == 10


def test_equal_methods_are_push_before_glue_before_replace() -> None:
    # 10 minutes, 15.00, either way.
    assert methods(claim(planned(replace_cost="15.00", replace_minutes="10"))) == {"hood": "push"}
    one_to_glue = planned(
        marked={"glue-only": {"dime": 2}}, replace_cost="15.00", replace_minutes="10"
    )
    assert methods(claim(one_to_glue)) == {"hood": "glue"}


@pytest.mark.parametrize(
    ("panel", "degrees", "rules", "allowed"),
    [
        ({}, None, {}, ["push", "glue"]),
        ({"replace_cost": "1.00"}, None, {}, ["push", "glue", "replace"]),
        ({"replace_cost": "1.00", "agreed": "1.00"}, None, {}, ["push", "glue"]),
        ({"marked": {"glue-only": {"dime": 2}}}, None, {}, ["glue"]),
        ({"marked": {"glue-only": {"dime": 1}}}, None, {}, ["push", "glue"]),
        ({}, 30, {}, ["push", "glue"]),
        ({}, 30.1, {}, ["push"]),
        ({}, 30, {"glue_limit_c": "29.5"}, ["push"]),
        ({}, 60, {"glue_hot": "warn"}, ["push", "glue"]),
        ({"repainted": True}, None, {}, ["push"]),
        ({"repainted": True}, None, {"glue_repainted": "allow"}, ["push", "glue"]),
        ({"marked": {"sharp": {"dime": 1}}}, None, {}, ["push"]),
        ({"marked": {"sharp": {"dime": 1}}}, None, {"glue_sharp": "warn"}, ["push", "glue"]),
        ({"marked": {"body-line": {"dime": 1}}}, None, {"glue_sharp": "warn"}, ["push"]),
        ({"oversize": [{"mm": 40, "marks": ["body-line"]}]}, None, {}, ["push"]),
        ({"marked": {"glue-only": {"dime": 2}}, "repainted": True}, None, {}, []),
        ({"tally": {}, "repainted": True, "replace_cost": "1.00"}, None, {}, ["push"]),
    ],
)
def test_which_methods_a_panel_allows(
    panel: Table, degrees: float | None, rules: Table, allowed: list[str]
) -> None:
    hit = claim(planned(**panel), conditions={"panel_temperature_c": degrees})
    assert methods_allowed(the_job(hit, matrix(access=rules)), hit["panels"][0]) == allowed


@pytest.mark.parametrize(
    ("panel", "are_left"),
    [
        # 5 dents, 2 glue-only and 3 sharp need not meet; 4 sharp do; nor need 3 sharp and 3 on a
        # body line, which may be the same three.
        ({"tally": {"dime": 5}, "marked": {"glue-only": {"dime": 2}, "sharp": {"dime": 3}}}, False),
        ({"tally": {"dime": 5}, "marked": {"glue-only": {"dime": 2}, "sharp": {"dime": 4}}}, True),
        (
            {
                "tally": {"dime": 5},
                "marked": {
                    "glue-only": {"dime": 2},
                    "sharp": {"dime": 3},
                    "body-line": {"dime": 3},
                },
            },
            False,
        ),
        # Coin by coin: the nickel is both.
        (
            {
                "tally": {"dime": 5, "nickel": 1},
                "marked": {"glue-only": {"nickel": 1}, "body-line": {"nickel": 1}},
            },
            True,
        ),
        ({"dents": [{"mm": 9, "marks": ["sharp", "glue-only"]}, {"mm": 9}]}, True),
        ({"dents": [{"mm": 9, "marks": ["sharp"]}, {"mm": 9, "marks": ["glue-only"]}]}, False),
        ({"tally": {}, "oversize": [{"mm": 40, "marks": ["glue-only", "body-line"]}]}, True),
        ({"repainted": True, "marked": {"glue-only": {"dime": 1}}}, True),
        ({"repainted": True}, False),
    ],
)
def test_which_panels_keep_dents_without_a_method(panel: Table, are_left: bool) -> None:
    hit = claim(planned(**panel))
    assert can_never_be_glued(the_job(hit, matrix()), hit["panels"][0]) == are_left


def test_dents_that_nothing_reaches_leave_a_panel_without_a_price_and_heat_does_not() -> None:
    split: Table = {"tally": {"dime": 2}, "marked": {"glue-only": {"dime": 1}}}
    painted = price_plainly(claim(planned(repainted=True, **split)), matrix())
    assert painted.lines == [PlainLine("repair", "hood", "", None)]
    assert painted.methods == {"hood": "push"}
    # On a hot panel they wait for a cool day: two dimes, 15.00.
    hot = {"conditions": {"panel_temperature_c": 41}}
    assert amounts(price_plainly(claim(planned(**split), **hot), matrix())) == [1500]
    # Where there is a price to replace for, that is taken, dear as it is; an agreed price holds.
    replaced = planned(repainted=True, replace_cost="900.00", **split)
    assert amounts(price_plainly(claim(replaced), matrix())) == [90000]
    agreed = planned(repainted=True, agreed="77.00", **split)
    assert amounts(price_plainly(claim(agreed), matrix())) == [7700]
    # Somebody who says push is taken at his word.
    said = hood(access="push", repainted=True, **split)
    assert amounts(price_plainly(claim(said), matrix())) == [1500]


def test_a_panel_that_nothing_is_allowed_for_is_refused() -> None:
    all_to_glue = planned("roof", marked={"glue-only": {"dime": 2}})
    with pytest.raises(NoMethodError) as refused:
        price_plainly(
            claim(planned(), all_to_glue, conditions={"panel_temperature_c": 41}), matrix()
        )
    assert refused.value.panels == [1]


# --- on the panel -----------------------------------------------------------------------------

PLATE = "POLYGON ((0 0, 60 0, 60 40, 0 40, 0 0), (10 10, 10 30, 30 30, 30 10, 10 10))"


def mm(x: float, y: float) -> tuple[int, int]:
    return round(x * NANOMETRES), round(y * NANOMETRES)


@pytest.mark.parametrize(
    ("x", "y", "is_on_it"),
    [
        (5, 5, True), (0, 20, True), (60, 40, True), (20, 10, True), (30, 30, True),
        (20, 20, False), (29.999, 29.999, False), (-1, 20, False), (61, 40, False),
        # level with corners, where a ray meets two sides at once
        (-5, 10, False), (-5, 40, False), (5, 10, True), (45, 30, True), (70, 0, False),
    ],
)  # fmt: skip
def test_what_a_plate_with_a_hole_covers(x: float, y: float, is_on_it: bool) -> None:
    assert covers(paths_of(PLATE), mm(x, y)) == is_on_it


def test_how_far_off_a_plate_a_place_is() -> None:
    plate = PlainPanel(paths_of(PLATE), [])
    # 3 right and 4 up of a corner; in the middle of the hole, 10 from each of its sides.
    assert [beyond_mm(plate, 63, 44), beyond_mm(plate, 20, 20), beyond_mm(plate, 5, 5)] == [
        5,
        10,
        0,
    ]
    # 60 × 40 − 20 × 20
    assert area_mm2(plate.rings) == 2000


def test_the_distance_to_a_segment_beside_it_and_beyond_its_ends() -> None:
    # A slope of 3 in 4 from 0, 0 to 8, 6. The place 3 right and 4 down of its middle 4, 3 is 5
    # away; 11, 10 is 3 right and 4 up of its end; 0, -2 lies before its start.
    for point, squared in [((7, -1), 25), ((11, 10), 25), ((0, -2), 4)]:
        assert Fraction(*squared_distance(point, (0, 0), (8, 6))) == squared


def test_zones_mark_dents_in_them_and_lines_what_they_cross() -> None:
    panel = hood(
        outline="POLYGON ((0 0, 900 0, 900 600, 0 600, 0 0))",
        zones=[
            {"kind": "braced", "shape": "POLYGON ((0 0, 100 0, 100 100, 0 0))"},
            {"kind": "body-line", "shape": "LINESTRING (0 300, 900 300)", "reach_mm": 1},
            {"kind": "edge", "reach_mm": 20},
        ],
        dents=[
            # on the slanted side of the braced corner; and 11 mm from the line, radius 10
            {"mm": 20, "x": 50, "y": 50},
            {"mm": 20, "x": 450, "y": 311, "marks": ["sharp"]},
            {"mm": 20, "x": 450, "y": 311.001},
            {"mm": 4, "mm2": 20, "x": 880, "y": 289},
        ],
    )
    assert [dent["marks"] for dent in marked_dents(panel, {"body": "sedan"})] == [
        ["braced"],
        ["body-line", "sharp"],
        [],
        ["body-line", "edge"],
    ]
    # 5 mm is a quarter of 20 and no less.
    pairs = [{"mm": 20, "x": x, "y": 0} for x in (0, 5, 9.999)]
    assert pairs_marked_twice(pairs) == [(1, 2)]


def test_placed_dents_are_priced_with_the_marks_of_their_zones() -> None:
    extra = [
        {"id": "b", "label": "B", "when": {"mark": "braced"}, "of": "affected", "percent": "50"}
    ]
    panel = hood(
        outline="POLYGON ((0 0, 900 0, 900 600, 0 600, 0 0))",
        zones=[{"kind": "braced", "shape": "POLYGON ((0 0, 100 0, 100 100, 0 0))"}],
        dents=[{"mm": 12, "x": 50, "y": 20}, {"mm": 12, "x": 450, "y": 300}],
    )
    # Two dimes 10 minutes: 15.00; half of them braced, 50 % of that half: 3.75.
    assert amounts(price_plainly(claim(panel), matrix(extra=extra))) == [1500, 375]


def test_sample_squares_are_priced_as_what_they_stand_for() -> None:
    # 400 × 300 mm are 1,200 cm², two squares of 200 mm are 800: half as many again.
    panel = hood(
        outline="POLYGON ((0 0, 400 0, 400 300, 0 300, 0 0))",
        sample={
            "side_mm": 200,
            "squares": [{"tally": {"dime": 2, "quarter": 1}}, {"tally": {"dime": 1}}],
        },
    )
    assert area_over_squares(panel["sample"], Fraction(120_000)) == Fraction(3, 2)
    # 4 dents stand for 6: 4.5 dimes and 1.5 quarters; the dime, the smaller, is rounded up.
    assert by_largest_remainder({"dime": Fraction(9, 2), "quarter": Fraction(3, 2)}, 6) == {
        "dime": 5,
        "quarter": 1,
    }
    # layers: 6 dents 16 minutes, 1 quarter 14 − 10: 20 minutes, 30.00.
    assert amounts(price_plainly(claim(panel), matrix())) == [3000]


def test_edges_of_bands_by_hand() -> None:
    # Bands 1–2, 3–6 and 7–10. 6 dimes 24.00; one more 28 minutes, 42.00. 3: one fewer 15.00.
    edges = edges_plainly(
        claim(hood(tally={"dime": 6}), {"panel": "roof", "tally": {"dime": 3}}), matrix()
    )
    assert edges == [
        ("hood", PlainEdge(1, 0, (7, 10), 4200)),
        ("roof", PlainEdge(-1, 0, (1, 2), 1500)),
    ]


@given(priced_together())
def test_the_lines_of_any_sheet_add_up_to_its_totals(pair: tuple[Table, Table]) -> None:
    sheet = price_plainly(*pair)
    priced = [amount for amount in amounts(sheet) if amount is not None]
    assert sum(priced) == sheet.total == sheet.subtotal + sheet.tax
    assert sheet.net == max(0, sheet.total - sheet.deductible)
    assert sheet.complete == (None not in amounts(sheet))


@given(priced_together())
def test_the_cells_of_any_made_up_matrix_rise_with_the_count_and_the_size(
    pair: tuple[Table, Table],
) -> None:
    _, made = pair
    for grid in made["grid"]:
        rows = [[Fraction(str(cell)) for cell in row] for row in grid["rows"]]
        columns = [list(column) for column in zip(*rows, strict=True)]
        assert len(rows) == len(grid["bands"])
        assert len(columns) == len(made["matrix"]["columns"])
        assert all(line == sorted(line) for line in [*rows, *columns])
        if made["matrix"]["mixed"] == "layers":
            for left, right in pairwise(columns):
                steps = [after - before for before, after in zip(left, right, strict=True)]
                assert steps == sorted(steps)
