"""Two counts of one vehicle set against each other: pairs, rates, estimates and prices.

Claims are plain dicts; marks in mm on a plate of 1000 by 600, amounts in minor units. What a
panel costs at a count is held against a claim with just that count, priced like any other.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from fractions import Fraction
from functools import cache
from math import hypot
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hailcalc.claimfile import claim_from_data, require_claim
from hailcalc.counting.geojson import outlines_from_geojson
from hailcalc.counting.twocounts import two_counts
from hailcalc.estimate import CompiledMatrix, compile_matrix
from hailcalc.matrix import matrix_from_data, require_matrix
from hailcalc.money import round_half_away
from hailcalc.outlinesheets import outlines_geojson
from hailcalc.problems import InputError
from hailcalc.recount import MarkedTwice, PanelRecount, Recount, recount
from hailcalc.recount.report import verdict
from hailcalc.vehicle import PANELS
from hailcalc.vehicle.outlines import outline
from tests.builders import (
    ROOT,
    Table,
    claim,
    demo_claim,
    demo_estimate,
    estimate,
    matrix,
    panel,
    removal_and_tax,
)
from tests.effort import examples

PLATE = "POLYGON ((0 0, 1000 0, 1000 600, 0 600, 0 0))"
SUV = "14-suv-marked-by-two-counters"


def long_bands() -> Table:
    """The small matrix, for up to 2,000 dents on a panel."""
    rows = [[20, 30], [40, 70], [60, 95], [90, 150]]
    grid = matrix()["grid"][0] | {"bands": [1, 6, 12, 40], "last": 2000, "rows": rows}
    return matrix(grid=[grid])


def dent(x: float, y: float, mm: float = 12, *marks: str) -> Table:
    return {"mm": mm, "x": x, "y": y} | ({"marks": list(marks)} if marks else {})


def hood(*dents: Table, **more: Any) -> Table:
    """A hood on a plain plate without zones, counted by marks."""
    return {"panel": "hood", "outline": PLATE, "dents": list(dents), **more}


def row(count: int, y: float, mm: float = 12, start: int = 0) -> list[Table]:
    """Dents in a row, 40 mm apart."""
    return [dent(40 + 40 * (start + k), y, mm) for k in range(count)]


def compiled(matrix_data: Table) -> CompiledMatrix:
    return compile_matrix(require_matrix(matrix_from_data(matrix_data)))


def compared(
    a: Table | Sequence[Table],
    b: Table | Sequence[Table],
    matrix_data: Table | None = None,
    **more: Any,
) -> Recount:
    """Two claims compared; a list of panels is a claim on a sedan."""
    first, second = (data if isinstance(data, dict) else claim(*data) for data in (a, b))
    return recount(
        require_claim(claim_from_data(first)),
        require_claim(claim_from_data(second)),
        compiled(long_bands() if matrix_data is None else matrix_data),
        **more,
    )


def only(found: Recount) -> PanelRecount:
    (result,) = found.panels
    return result


def marked(result: PanelRecount) -> MarkedTwice:
    assert result.marked is not None
    return result.marked


@cache
def demo_recount(swapped: bool = False, gate_mm: float = 15.0) -> Recount:
    path = ROOT / "demo" / "recount" / "14-suv-as-the-adjuster-marked-it.json"
    shop = require_claim(claim_from_data(demo_claim(SUV)))
    adjuster = require_claim(claim_from_data(json.loads(path.read_text("utf-8"))))
    pair = (adjuster, shop) if swapped else (shop, adjuster)
    return recount(*pair, demo_estimate(SUV).compiled, gate_mm=gate_mm)


def priced_total(part: Table, matrix_data: Table) -> int:
    """What a panel comes to, priced as the only one of a claim."""
    (result,) = estimate(claim(part), matrix_data).panels
    assert result.priced
    return result.total


# --- mark by mark -----------------------------------------------------------------------------


def test_marks_close_together_are_one_dent_and_the_others_are_only_ones_own() -> None:
    ours = [dent(100, 100), dent(300, 100), dent(500, 100), dent(700, 100)]
    theirs = [dent(509, 112), dent(900, 500), dent(100, 115)]
    found = marked(only(compared([hood(*ours)], [hood(*theirs)])))
    assert found.matching.pairs == ((0, 2), (2, 0)), "15 mm apart, exactly the gate, is one dent"
    assert found.matching.only_a == (1, 3)
    assert found.matching.only_b == (1,)
    assert (found.counts.both, found.counts.only_a, found.counts.only_b) == (2, 2, 1)
    assert found.counts.rate_a == Fraction(2, 3), "A has two of the three that B found"
    assert found.counts.rate_b == Fraction(2, 4)


@pytest.mark.parametrize(("gate", "pairs"), [(14.9, 0), (15.0, 1), (20.0, 1)])
def test_the_gate_says_how_far_apart_one_dent_may_be_marked(gate: float, pairs: int) -> None:
    found = compared([hood(dent(100, 100))], [hood(dent(109, 112))], gate_mm=gate)
    assert marked(only(found)).counts.both == pairs
    assert found.gate_mm == gate


def test_estimate_and_limits_are_those_of_two_counts_on_the_numbers() -> None:
    for result in demo_recount().panels:
        if result.marked is None:
            continue
        found = result.marked
        by_numbers = two_counts(len(found.a), len(found.b), len(found.matching.pairs))
        assert found.counts == by_numbers
        rounded = round_half_away(*by_numbers.chapman.as_integer_ratio())
        assert found.estimated == max(rounded, by_numbers.union)


def test_the_union_has_each_dent_once_pairs_at_as_place_with_the_mean_size_and_all_marks() -> None:
    ours = [dent(100, 100, 12, "sharp"), dent(300, 100, 20)]
    theirs = [dent(104, 103, 15, "edge", "sharp"), dent(800, 500, 9, "body-line")]
    found = marked(only(compared([hood(*ours)], [hood(*theirs)])))
    told = [(float(one.x or 0), float(one.y or 0), float(one.mm), one.marks) for one in found.union]
    assert told == [
        (100, 100, 13.5, ("sharp", "edge")),
        (300, 100, 20, ()),
        (800, 500, 9, ("body-line",)),
    ]


def test_the_longer_axis_is_the_size_that_is_compared_and_averaged() -> None:
    ours = [dent(100, 100, 10) | {"mm2": 20}]
    theirs = [dent(100, 100, 18) | {"mm2": 4}]
    found = marked(only(compared([hood(*ours)], [hood(*theirs)])))
    assert [one.mm for one in found.union] == [19]
    assert found.same_size == 1, "20 and 18 mm both need a half-dollar"


def test_agreement_on_sizes_is_counted_in_the_matrixs_columns() -> None:
    """Four pairs: dime and dime, dime and half-dollar, half-dollar twice, oversize twice."""
    ours = [dent(100, 100, 10), dent(200, 100, 17.91), dent(300, 100, 20), dent(400, 100, 35)]
    theirs = [dent(100, 100, 17), dent(200, 100, 17.92), dent(300, 100, 30), dent(400, 100, 50)]
    found = marked(only(compared([hood(*ours)], [hood(*theirs)])))
    assert found.same_size == 3
    # Classes (0,0) (0,1) (1,1) (2,2): agreed 3/4, by chance (2·1 + 1·2 + 1·1)/16 = 5/16.
    assert found.kappa == (Fraction(3, 4) - Fraction(5, 16)) / (1 - Fraction(5, 16))


def test_there_is_no_kappa_where_all_is_of_one_size_or_nothing_is_common() -> None:
    same = compared([hood(*row(3, 100))], [hood(*row(3, 100))])
    assert marked(only(same)).kappa is None
    apart = compared([hood(*row(3, 100))], [hood(*row(3, 300, 25))])
    assert marked(only(apart)).kappa is None


def test_where_nothing_is_common_nothing_limits_how_many_dents_there_are() -> None:
    found = marked(only(compared([hood(*row(3, 100))], [hood(*row(4, 300))])))
    assert (found.counts.both, found.counts.union) == (0, 7)
    assert found.counts.lower >= 7
    assert found.counts.upper is None
    assert found.counts.rate_a == found.counts.rate_b == 0
    assert found.estimated is None
    assert found.total_estimate is None, "what nobody can number nobody can price"
    assert found.total_union == priced_total(hood(*row(3, 100), *row(4, 300)), long_bands())


def test_oversize_dents_are_matched_like_others_and_priced_by_their_mean() -> None:
    ours, theirs = (
        [dent(100, 100, 34), dent(300, 100, 31)],
        [dent(100, 100, 40), dent(300, 100, 30)],
    )
    found = marked(only(compared([hood(*ours)], [hood(*theirs)])))
    assert [float(one.mm) for one in found.union] == [37, 30.5]
    by_hand = hood(dent(100, 100, 37), dent(300, 100, 30.5))
    assert found.total_union == priced_total(by_hand, long_bands())
    assert found.same_size == 1, "31 mm is beyond a half-dollar, 30 mm is not"


def test_a_panel_of_oversize_dents_alone_is_estimated_at_those_seen() -> None:
    """Dents that nobody found have no millimetres of their own."""
    ours = [dent(100, 100, 34), dent(300, 100, 40)]
    theirs = [dent(100, 100, 34), dent(600, 100, 40), dent(800, 100, 36)]
    found = marked(only(compared([hood(*ours)], [hood(*theirs)])))
    assert found.estimated is not None
    assert found.estimated > found.counts.union == 4
    assert found.total_estimate == found.total_union


# --- prices -----------------------------------------------------------------------------------


def braced_matrix() -> Table:
    extra = {
        "id": "braced",
        "label": "Behind a brace",
        "when": {"mark": "braced"},
        "of": "affected",
        "percent": "45",
    }
    glue = {"id": "glue", "label": "Glued", "when": {"access": "glue"}, "percent": "33"}
    metal = {"id": "alu", "label": "Aluminium", "when": {"metal": "aluminium"}, "percent": "27"}
    return long_bands() | {"extra": [extra, glue, metal]}


def two_marked_hoods() -> tuple[Table, Table]:
    """A found 10, B 8, five of them the same; sizes and marks mixed, one oversize."""
    common = [dent(50 + 100 * k, 100, 12) for k in range(5)]
    ours = [
        *common[:3],
        *(one | {"marks": ["braced"]} for one in common[3:]),
        dent(50, 300, 12, "braced"),
        dent(150, 300, 12),
        dent(250, 300, 25),
        dent(350, 300, 25, "braced"),
        dent(450, 300, 33),
    ]
    theirs = [*common, dent(550, 500, 12), dent(650, 500, 12), dent(750, 500, 29)]
    return hood(*ours), hood(*theirs)


def test_each_count_the_union_and_the_estimate_cost_what_a_claim_with_those_dents_costs() -> None:
    ours, theirs = two_marked_hoods()
    result = only(compared([ours], [theirs], braced_matrix()))
    found = marked(result)
    assert (found.counts.both, found.counts.union) == (5, 13)
    assert found.counts.chapman == Fraction(11 * 9, 6) - 1 == Fraction(31, 2)
    assert found.estimated == 16, "a half is rounded up"
    assert result.a is not None
    assert result.b is not None
    assert result.a.total == priced_total(ours, braced_matrix())
    assert result.b.total == priced_total(theirs, braced_matrix())
    together = hood(*ours["dents"], *theirs["dents"][5:])
    assert found.total_union == priced_total(together, braced_matrix())
    # 9 dimes, 3 half-dollars and an oversize dent, 4 braced, of 13. Scaled to 16: 15 in the
    # columns as 11.25 and 3.75, by largest remainder 11 and 4; braced 4 * 16 / 13 = 4.9.
    at_estimate = {
        "panel": "hood",
        "tally": {"dime": 11, "half-dollar": 4},
        "marked": {"braced": {"dime": 5}},
        "oversize": [{"mm": 33}],
    }
    assert found.total_estimate == priced_total(at_estimate, braced_matrix())
    assert found.total_union is not None
    assert found.total_estimate > found.total_union


def test_a_panel_is_priced_by_the_matrix_whatever_was_agreed() -> None:
    ours, theirs = two_marked_hoods()
    plain = compared([ours], [theirs])
    agreed = compared([ours | {"agreed": "1.00"}], [theirs | {"agreed": "9999.00"}])
    for one, other in zip(plain.panels, agreed.panels, strict=True):
        assert one.a is not None
        assert other.a is not None
        assert one.b is not None
        assert other.b is not None
        assert (one.a.total, one.b.total) == (other.a.total, other.b.total)
        assert marked(one).total_union == marked(other).total_union
        assert marked(one).total_estimate == marked(other).total_estimate
    assert plain.a.totals == agreed.a.totals
    assert plain.notes == ()
    assert agreed.notes == ("Priced by the matrix; agreed prices are left out: hood.",)


def test_the_whole_claims_are_priced_with_removal_other_lines_and_tax() -> None:
    rules = long_bands() | removal_and_tax()
    part = {"kind": "part", "label": "Moulding", "unit_price": "10.00"}
    ours = claim(hood(*row(3, 100)), other=[part], claim={"deductible": "100.00"})
    theirs = claim(hood(*row(4, 100)))
    found = compared(ours, theirs, rules)
    assert found.a.totals == estimate(ours, rules).totals
    assert found.b.totals == estimate(theirs, rules).totals


def test_a_union_beyond_the_matrix_has_no_price_though_each_count_has_one() -> None:
    small = matrix(grid=[matrix()["grid"][0] | {"last": 6}])
    result = only(compared([hood(*row(5, 100))], [hood(*row(5, 100)[:3], *row(2, 300))], small))
    found = marked(result)
    assert found.counts.union == 7
    assert found.total_union is None
    assert found.total_estimate is None
    assert result.a is not None
    assert result.a.priced


def test_access_and_metal_are_as_a_describes_them_and_a_difference_is_noted() -> None:
    ours, theirs = two_marked_hoods()
    theirs = theirs | {"access": "glue", "metal": "aluminium"}
    found = compared([ours], [theirs], braced_matrix())
    plain = compared([ours], [two_marked_hoods()[1]], braced_matrix())
    result = only(found)
    assert marked(result).total_union == marked(only(plain)).total_union
    assert result.b is not None
    assert result.b.total == priced_total(theirs, braced_matrix())
    assert "hood: push in A, glue in B; part of the difference in price." in found.notes
    assert "hood: steel in A, aluminium in B; part of the difference in price." in found.notes
    assert plain.notes == ()


def test_a_repainted_panel_in_one_count_only_is_part_of_the_difference_and_noted() -> None:
    extra = {"id": "paint", "label": "Paint", "when": {"repainted": True}, "percent": "20"}
    rules = long_bands() | {"extra": [extra]}
    found = compared([panel(repainted=True)], [panel()], rules)
    result = only(found)
    assert result.a is not None
    assert result.b is not None
    assert result.a.total > result.b.total
    assert any("repainted" in note for note in found.notes)


def test_a_replaced_panel_costs_its_replacement_at_every_count() -> None:
    ours, theirs = two_marked_hoods()
    more = {"access": "replace", "replace_cost": "400.00"}
    found = marked(only(compared([ours | more], [theirs | more])))
    assert found.total_union == found.total_estimate == 40000


# --- panel by panel ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("ours", "theirs", "may", "within"),
    [
        # 1.96² · 188 · 0.05 = 36.1: six apart may be; 1.96² · 186 · 0.05 = 35.7: five, not six.
        (97, 91, 6, True),
        (91, 97, 6, True),
        (96, 90, 5, False),
        (90, 96, 5, False),
        (3, 3, 1, True),
        (3, 2, 0, False),
        (0, 0, 0, True),
        (500, 500, 13, True),
    ],
)
def test_two_careful_counts_may_differ_up_to_a_border_and_no_dent_more(
    ours: int, theirs: int, may: int, within: bool
) -> None:
    result = only(compared([panel(tally={"dime": ours})], [panel(tally={"dime": theirs})]))
    assert result.difference == theirs - ours
    assert (result.plausible, result.within) == (may, within)
    assert verdict(result) == ("plausible" if within else "more than that")
    assert result.marked is None


def test_counters_who_find_less_may_differ_more() -> None:
    pair = [panel(tally={"dime": 96})], [panel(tally={"dime": 90})]
    assert only(compared(*pair, found=Fraction(90, 100))).within
    assert not only(compared(*pair, found=Fraction(95, 100))).within


def sampled(count: int, oversize: int = 0) -> Table:
    """A hood sampled in five squares that are a twelfth of it."""
    squares = [{"tally": {"dime": count // 5}} for _ in range(5)]
    part: Table = {
        "panel": "hood",
        "outline": PLATE,
        "sample": {"side_mm": 100, "squares": squares},
    }
    return part | ({"oversize": [{"mm": 40}] * oversize} if oversize else {})


@pytest.mark.parametrize("oversize", [0, 3])
def test_a_count_is_held_against_the_95_percent_limits_of_a_sample(oversize: int) -> None:
    alone = estimate(claim(sampled(25, oversize)), long_bands())
    survey = alone.panels[0].survey
    assert survey is not None
    assert survey.sample is not None
    low = survey.sample.lower.total + oversize
    high = survey.sample.upper.total + oversize
    for count, within in ((low - 1, False), (low, True), (high, True), (high + 1, False)):
        for pair in (
            ([sampled(25, oversize)], [panel(tally={"dime": count})]),
            ([panel(tally={"dime": count})], [sampled(25, oversize)]),
        ):
            result = only(compared(*pair))
            assert result.plausible is None
            assert result.within is within
            words = "within" if within else "beyond"
            assert verdict(result) == f"{words} the sample's margin"


def test_two_samples_agree_if_their_limits_meet() -> None:
    assert only(compared([sampled(25)], [sampled(30)])).within
    assert not only(compared([sampled(25)], [sampled(100)])).within


def test_a_sampled_panel_is_not_compared_mark_by_mark() -> None:
    assert only(compared([sampled(25)], [hood(*row(9, 100))])).marked is None


def test_a_panel_marked_by_one_and_tallied_by_the_other_is_compared_by_number() -> None:
    result = only(compared([hood(*row(9, 100))], [panel(tally={"dime": 8})]))
    assert result.marked is None
    assert result.difference == -1
    assert result.within is True


def test_a_panel_in_one_count_only_is_said_and_not_compared() -> None:
    found = compared([panel(), panel("roof")], [panel("decklid"), panel("hood")])
    by_name = {result.panel: result for result in found.panels}
    assert [result.panel for result in found.panels] == ["hood", "roof", "decklid"], "sheet order"
    assert by_name["roof"].b is None
    assert by_name["decklid"].a is None
    for name in ("roof", "decklid"):
        result = by_name[name]
        assert (result.difference, result.plausible, result.within) == (None, None, None)
        assert verdict(result) == ""
    assert found.notes == (
        "roof: not in B; not compared.",
        "decklid: not in A; not compared.",
    )


# --- are they about one vehicle? --------------------------------------------------------------

VIN, OTHER_VIN = "0ZZHAL144TE000014", "0ZZHAL017TE000001"


def test_counts_of_two_vehicles_are_refused_naming_b_and_the_place() -> None:
    ours = claim(panel(), body="suv", vehicle={"vin": VIN})
    theirs = claim(panel(), body="wagon", vehicle={"vin": OTHER_VIN})
    with pytest.raises(InputError) as caught:
        compared(ours, theirs)
    told = [(problem.file, problem.place, problem.found) for problem in caught.value.problems]
    assert told == [
        ("B", "vehicle.body", '"wagon"'),
        ("B", "vehicle.vin", f'"{OTHER_VIN}"'),
    ]
    assert all("as in A" in problem.expected for problem in caught.value.problems)


@pytest.mark.parametrize("vins", [(VIN, None), (None, VIN), (None, None), (VIN, VIN)])
def test_a_vehicle_without_its_number_in_one_count_may_be_the_same(
    vins: tuple[str | None, str | None],
) -> None:
    ours, theirs = (claim(panel(), vehicle={"vin": vin} if vin else {}) for vin in vins)
    assert compared(ours, theirs).notes == ()


def test_two_claim_numbers_are_noted() -> None:
    found = compared(claim(panel()), claim(panel(), claim={"number": "C-2"}))
    assert found.notes == ("The claims have two numbers: C-1 and C-2.",)


@pytest.mark.parametrize("key", ["length_mm", "width_mm", "height_mm"])
def test_overall_sizes_that_differ_are_noted(key: str) -> None:
    size = {"length_mm": 4700, "width_mm": 1800, "height_mm": 1500}
    ours = claim(panel(), vehicle=size)
    assert compared(ours, ours).notes == ()
    for other in ({**size, key: size[key] + 60}, {k: v for k, v in size.items() if k != key}):
        (note,) = compared(ours, claim(panel(), vehicle=other)).notes
        assert "different overall sizes" in note


def test_marks_on_a_generic_outline_of_another_size_are_stretched_to_as() -> None:
    """The same dents, by one who took the vehicle for a fifth longer and a tenth wider."""
    size = {"length_mm": 4000, "width_mm": 1700, "height_mm": 1450}
    larger = {"length_mm": 4800, "width_mm": 1870, "height_mm": 1450}
    (small, large) = (outline("sedan", "hood", *size_.values()).ring for size_ in (size, larger))
    wide, high = (
        [max(point[axis] for point in ring) for ring in (small, large)] for axis in (0, 1)
    )
    places = [(400, 300), (700, 500), (1000, 600)]
    ours = {"panel": "hood", "dents": [dent(x, y) for x, y in places]}
    stretched = [
        dent(round(x * wide[1] / wide[0], 2), round(y * high[1] / high[0], 2)) for x, y in places
    ]
    theirs = {"panel": "hood", "dents": stretched}
    found = compared(claim(ours, vehicle=size), claim(theirs, vehicle=larger), gate_mm=1.0)
    result = marked(only(found))
    assert result.matching.pairs == ((0, 0), (1, 1), (2, 2))
    assert (
        compared(claim(ours, vehicle=size), claim(theirs, vehicle=size), gate_mm=1.0)
        .panels[0]
        .marked
        != result
    )


def test_marks_on_the_same_own_outline_are_compared_and_its_zones_mark_the_union() -> None:
    zone = {"kind": "braced", "shape": "POLYGON ((0 0, 500 0, 500 600, 0 600, 0 0))"}
    ours = hood(*row(6, 100), zones=[zone])
    theirs = hood(*row(6, 100, start=3), zones=[zone])
    found = compared([ours], [theirs], braced_matrix())
    together = hood(*row(9, 100), zones=[zone])
    result = marked(only(found))
    assert result.total_union == priced_total(together, braced_matrix())
    assert not result.survey.shape.generic
    assert found.notes == ()


@pytest.mark.parametrize("other", ["POLYGON ((0 0, 1100 0, 1100 600, 0 600, 0 0))", None])
def test_marks_on_two_different_outlines_are_not_compared_and_it_is_said(other: str | None) -> None:
    """They have two origins: what lies near on paper may be far apart on the panel."""
    theirs = hood(*row(4, 100)) | {"outline": other}
    if other is None:
        del theirs["outline"]
        theirs["dents"] = [dent(600 + 40 * k, 400) for k in range(4)]
    found = compared([hood(*row(3, 100))], [theirs])
    result = only(found)
    assert result.marked is None
    assert result.difference == 1
    (note,) = found.notes
    assert note.startswith("hood: marked on two different outlines")


def test_an_outline_with_its_ring_begun_elsewhere_or_turned_round_is_the_same() -> None:
    """One traced it clockwise, or a program began at another corner."""
    turned = "POLYGON ((1000 600, 1000 0, 0 0, 0 600, 1000 600))"
    found = compared([hood(*row(3, 100))], [hood(*row(3, 100)) | {"outline": turned}])
    assert only(found).marked is not None
    assert found.notes == ()


def test_our_outline_loaded_as_an_own_one_is_the_same_outline() -> None:
    keys = outlines_from_geojson(outlines_geojson("sedan", (None, None, None)), "own")["hood"]
    part = {"panel": "hood", "dents": [dent(400, 300), dent(700, 500)]}
    found = compared([part], [part | keys])
    assert marked(only(found)).counts.both == 2
    assert found.notes == ()


def test_zones_that_differ_on_one_outline_are_noted_and_as_mark_the_union() -> None:
    zone = {"kind": "braced", "shape": "POLYGON ((0 0, 500 0, 500 600, 0 600, 0 0))"}
    found = compared([hood(*row(6, 100), zones=[zone])], [hood(*row(6, 100))], braced_matrix())
    result = only(found)
    assert result.a is not None
    assert result.b is not None
    assert result.a.total > result.b.total
    assert marked(result).total_union == result.a.total
    assert any("zones differ" in note for note in found.notes)


def test_a_mark_of_b_just_beyond_the_border_counts_as_on_it() -> None:
    theirs = [dent(104.5, -4), dent(1003, 300)]
    found = marked(only(compared([hood(dent(100, 0))], [hood(*theirs)])))
    assert found.counts.both == 1
    assert [(float(one.x or 0), float(one.y or 0)) for one in found.union] == [
        (100, 0),
        (1000, 300),
    ]


def test_dates_of_loss_that_differ_are_noted() -> None:
    found = compared(claim(panel()), claim(panel(), claim={"date_of_loss": "2026-05-20"}))
    assert found.notes == ("The dates of loss differ: 2026-05-19 in A, 2026-05-20 in B.",)


def test_a_crowded_panel_is_warned_of_and_a_smaller_gate_settles_it() -> None:
    """0.3 marks within a gate by chance: on 6,000 cm² from 255 marks at 15 mm up."""
    places = [(20 + 32 * (k % 30), 20 + 50 * (k // 30)) for k in range(255)]
    many = [dent(x, y) for x, y in places]
    for count, gate, crowded in ((254, 15.0, False), (255, 15.0, True), (255, 10.0, False)):
        found = compared([hood(*many[:count])], [hood(*many[:10])], gate_mm=gate)
        assert marked(only(found)).crowded is crowded
        assert any("chance" in note for note in found.notes) is crowded
    found = compared([hood(*many[:10])], [hood(*many)])
    assert marked(only(found)).crowded, "whoever marked so many"


# --- the same counters, the other way round ---------------------------------------------------


def test_a_count_held_against_itself_differs_in_nothing() -> None:
    for name in ("13-hatch-counted-by-marks", SUV, "15-wagon-on-the-shops-own-outline"):
        priced = demo_estimate(name)
        found = recount(priced.claim, priced.claim, priced.compiled)
        assert found.notes == ()
        assert found.a.totals == found.b.totals
        seen = 0
        for result in found.panels:
            assert result.difference == 0
            assert result.within is True
            if result.marked is None:
                continue
            seen += 1
            both, counts = result.marked, result.marked.counts
            number = len(both.a)
            assert both.matching.pairs == tuple((k, k) for k in range(number))
            assert counts.rate_a == counts.rate_b == 1
            assert both.kappa in (1, None)
            assert both.same_size == number
            assert counts.lower == counts.union == both.estimated == number
            assert result.a is not None
            assert both.total_union == both.total_estimate == result.a.total
        assert seen


def test_a_and_b_may_change_places() -> None:
    one, other = demo_recount(), demo_recount(swapped=True)
    assert (one.a.totals, one.b.totals) == (other.b.totals, other.a.totals)
    for ours, theirs in zip(one.panels, other.panels, strict=True):
        assert (ours.a, ours.b) == (theirs.b, theirs.a)
        assert ours.difference == -(theirs.difference or 0)
        assert (ours.plausible, ours.within) == (theirs.plausible, theirs.within)
        if ours.marked is None or theirs.marked is None:
            assert ours.marked is theirs.marked is None
            continue
        here, there = ours.marked, theirs.marked
        assert here.matching.pairs == tuple(sorted((i, j) for j, i in there.matching.pairs))
        assert here.matching.only_a == there.matching.only_b
        assert here.matching.only_b == there.matching.only_a
        assert (here.counts.rate_a, here.counts.rate_b) == (
            there.counts.rate_b,
            there.counts.rate_a,
        )
        assert (here.counts.chapman, here.counts.lower, here.counts.upper) == (
            there.counts.chapman,
            there.counts.lower,
            there.counts.upper,
        )
        assert (here.same_size, here.kappa) == (there.same_size, there.kappa)
        assert sorted(one.mm for one in here.union) == sorted(one.mm for one in there.union)


@pytest.mark.parametrize("apart", [14.96, 15.0, 15.04])
def test_a_and_b_may_change_places_however_finely_they_marked(apart: float) -> None:
    ours, theirs = [hood(dent(100, 100))], [hood(dent(100 + apart, 100))]
    here, there = marked(only(compared(ours, theirs))), marked(only(compared(theirs, ours)))
    assert here.counts.both == there.counts.both == int(apart <= 15)


# --- the demo's truth -------------------------------------------------------------------------

TRUTH = {"hood": 64, "roof": 88, "fender-r": 13, "door-fr": 9}
"""Dents that were scattered on each panel of claim 14 before the two counters looked."""


def test_the_demos_intervals_hold_the_dents_that_were_there() -> None:
    found = {result.panel: result.marked for result in demo_recount().panels if result.marked}
    assert found.keys() == TRUTH.keys()
    for name, there in TRUTH.items():
        counts = found[name].counts
        assert counts.upper is not None
        assert counts.union <= there
        assert counts.lower <= there <= counts.upper
        assert abs((found[name].estimated or 0) - there) <= 3


def test_the_demos_pairs_are_near_and_its_strays_are_far_from_each_other() -> None:
    for result in demo_recount().panels:
        if result.marked is None:
            continue
        found = result.marked
        far = [
            hypot(float((a.x or 0) - (b.x or 0)), float((a.y or 0) - (b.y or 0)))
            for i, j in found.matching.pairs
            for a, b in [(found.a[i], found.b[j])]
        ]
        assert max(far) <= 15
        for i in found.matching.only_a:
            for j in found.matching.only_b:
                a, b = found.a[i], found.b[j]
                apart = hypot(float((a.x or 0) - (b.x or 0)), float((a.y or 0) - (b.y or 0)))
                assert apart > 15, "two strays within the gate would have been a pair"


def test_panels_are_in_sheet_order_and_the_tallied_ones_are_there_too() -> None:
    names = [result.panel for result in demo_recount().panels]
    assert names == sorted(names, key=PANELS.index)
    assert {"liftgate", "quarter-r"} <= set(names)


# --- another currency -------------------------------------------------------------------------


@pytest.mark.parametrize(("currency", "rate"), [("JPY", "9000"), ("EUR", "90.00")])
def test_prices_are_in_the_matrixs_own_minor_units(currency: str, rate: str) -> None:
    rules = long_bands()
    rules["matrix"] |= {"currency": currency}
    rules |= {"rates": {"repair": rate, "removal": rate}}
    ours, theirs = two_marked_hoods()
    result = only(compared([ours], [theirs], rules))
    together = hood(*ours["dents"], *theirs["dents"][5:])
    assert marked(result).total_union == priced_total(together, rules)


# --- whatever two people mark -----------------------------------------------------------------

PLACES = st.tuples(st.integers(5, 995), st.integers(5, 595))


@st.composite
def two_hoods(draw: st.DrawFn) -> tuple[Table, Table]:
    """Dents, of which each counter misses some, places them with an error, and adds strays."""
    places = draw(st.lists(PLACES, min_size=1, max_size=25, unique=True))
    sizes = st.sampled_from([8, 12.5, 17.91, 18, 25, 30.61, 31, 44])
    marks = st.sampled_from([(), ("sharp",), ("braced",), ("edge", "sharp")])
    errors = st.integers(-5, 5)

    def count() -> Table:
        seen = [
            dent(x + draw(errors), y + draw(errors), draw(sizes), *draw(marks))
            for x, y in places
            if draw(st.integers(0, 9)) > 1
        ]
        strays = [dent(x, y, draw(sizes)) for x, y in draw(st.lists(PLACES, max_size=3))]
        return hood(*(seen + strays or [dent(500, 300)]))

    return count(), count()


@settings(max_examples=examples(50))
@given(two_hoods(), st.sampled_from([1.0, 7.5, 15.0, 40.0]))
def test_counts_and_prices_hold_together_for_any_two_counts(
    pair: tuple[Table, Table], gate: float
) -> None:
    ours, theirs = pair
    rules = braced_matrix()
    result = only(compared([ours], [theirs], rules, gate_mm=gate))
    found = marked(result)
    n1, n2, counts = len(ours["dents"]), len(theirs["dents"]), found.counts
    assert counts.both <= min(n1, n2)
    assert counts.union >= max(n1, n2)
    assert counts.union == counts.both + counts.only_a + counts.only_b == len(found.union)
    assert counts.union <= counts.lower
    assert (found.estimated is None) == (counts.both == 0)
    assert found.estimated is None or counts.union <= found.estimated
    assert counts.upper is None or counts.lower <= counts.upper
    assert sorted([*(i for i, _ in found.matching.pairs), *found.matching.only_a]) == [*range(n1)]
    assert sorted([*(j for _, j in found.matching.pairs), *found.matching.only_b]) == [*range(n2)]
    for i, j in found.matching.pairs:
        a, b = ours["dents"][i], theirs["dents"][j]
        assert hypot(a["x"] - b["x"], a["y"] - b["y"]) <= gate + 0.001
    union = [
        {"mm": float(one.mm), "x": float(one.x or 0), "y": float(one.y or 0)}
        | ({"marks": list(one.marks)} if one.marks else {})
        for one in found.union
    ]
    assert found.total_union == priced_total(hood(*union), rules)
    assert result.a is not None
    assert result.b is not None
    assert result.a.total == priced_total(ours, rules)
    assert result.b.total == priced_total(theirs, rules)


@settings(max_examples=examples(30))
@given(two_hoods())
def test_any_two_counters_may_change_places(pair: tuple[Table, Table]) -> None:
    ours, theirs = pair
    one, other = compared([ours], [theirs]), compared([theirs], [ours])
    here, there = marked(only(one)), marked(only(other))
    assert here.counts.both == there.counts.both
    assert (here.counts.chapman, here.counts.lower, here.counts.upper) == (
        there.counts.chapman,
        there.counts.lower,
        there.counts.upper,
    )
    assert (here.counts.rate_a, here.counts.rate_b) == (there.counts.rate_b, there.counts.rate_a)
    assert here.estimated == there.estimated
    assert only(one).difference == -(only(other).difference or 0)


@settings(max_examples=examples(30))
@given(two_hoods())
def test_marks_in_another_order_are_the_same_count(pair: tuple[Table, Table]) -> None:
    ours, theirs = pair
    turned = hood(*reversed(theirs["dents"]))
    here = marked(only(compared([ours], [theirs])))
    there = marked(only(compared([ours], [turned])))
    assert here.counts == there.counts
