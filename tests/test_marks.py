"""Dents marked on a panel: which zones they are in, which lie off it, which stand twice.

Millimetres. Most tests use one plate, 1000 by 600, with its corner at the origin, as a hood.
"""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hailcalc.claimfile import MAX_DENTS, claim_from_data, require_claim
from hailcalc.counting.marks import MAX_PAIRS, classify, marked_twice, zone_marks
from hailcalc.counting.survey import MAX_LISTED, Survey
from hailcalc.estimate import Estimate
from hailcalc.problems import InputError
from hailcalc.vehicle.outlines import outline
from hailcalc.vehicle.shapes import generic_shape
from tests.builders import Table, claim, estimate, sheet
from tests.effort import examples
from tests.plain_counting import (
    beyond_mm,
    marked_dents,
    pairs_marked_twice,
    plain_panel,
    zones_of,
)

PLATE = "POLYGON ((0 0, 1000 0, 1000 600, 0 600, 0 0))"
AREA = {"kind": "braced", "shape": "POLYGON ((200 100, 400 100, 400 300, 200 300, 200 100))"}
LINE = {"kind": "body-line", "shape": "LINESTRING (100 450, 900 450)"}


def dent(x: float, y: float, mm: float = 12, **more: Any) -> Table:
    return {"mm": mm, "x": x, "y": y, **more}


def marked(*dents: Table, outline: Any = PLATE, zones: Any = (), name: str = "hood") -> Table:
    """A panel counted by marks on an outline of the shop's own, or on the generic one."""
    own = {} if outline is None else {"outline": outline}
    own |= {"zones": list(zones)} if zones else {}
    return {"panel": name, "dents": list(dents), **own}


def surveyed(panel: Table) -> Survey:
    found = estimate(claim(panel)).panels[0].survey
    assert found is not None
    return found


def marks(panel: Table) -> list[set[str]]:
    """What the zones say of each dent."""
    return [set(found) for found in surveyed(panel).zone_marks]


def mistakes(panel: Table, **more: Any) -> list[tuple[str, str, str]]:
    """Place, found and expected of everything wrong with a claim of one panel."""
    with pytest.raises(InputError) as caught:
        estimate(claim(panel, **more))
    return [(problem.place, problem.found, problem.expected) for problem in caught.value.problems]


def warnings(panel: Table) -> list[str]:
    return list(estimate(claim(panel)).warnings)


# --- zones ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("x", "y", "is_in"),
    [
        pytest.param(300, 200, True, id="in the middle"),
        pytest.param(200, 200, True, id="on its border"),
        pytest.param(400, 300, True, id="on its corner"),
        pytest.param(199.999, 200, False, id="a micrometre outside"),
        pytest.param(400, 300.001, False, id="a micrometre above its corner"),
        pytest.param(500, 200, False, id="beside it"),
    ],
)
def test_a_dent_is_braced_if_its_centre_is_in_the_zone_or_on_its_border(
    x: float, y: float, is_in: bool
) -> None:
    # The size does not matter: only the centre counts.
    for mm in (3, 60):
        assert marks(marked(dent(x, y, mm), zones=[AREA])) == [{"braced"} if is_in else set()]


@pytest.mark.parametrize(("x", "y"), [(1, 0.1), (3, 0.3), (7, 0.7), (11, 1.1), (99, 9.9)])
def test_a_dent_on_the_slanted_border_of_a_zone_is_in_it(x: float, y: float) -> None:
    """The border runs from 0, 0 to 1000, 100: it rises by a tenth of the way along."""
    wedge = {"kind": "braced", "shape": "POLYGON ((0 0, 1000 0, 1000 100, 0 0))"}
    assert marks(marked(dent(x, y), zones=[wedge])) == [{"braced"}]


@pytest.mark.parametrize("kind", ["braced", "glue-only", "edge"])
@pytest.mark.parametrize(
    ("x", "y", "is_in"),
    [(500, 330, True), (500, 300, True), (500, 330.001, False), (500, 269.9, False)],
)
def test_a_line_marks_dents_whose_centre_is_within_its_reach(
    kind: str, x: float, y: float, is_in: bool
) -> None:
    line = {"kind": kind, "shape": "LINESTRING (100 300, 900 300)", "reach_mm": 30}
    assert marks(marked(dent(x, y, 60), zones=[line])) == [{kind} if is_in else set()]


def test_the_reach_of_a_line_is_round_at_its_ends() -> None:
    line = {"kind": "braced", "shape": "LINESTRING (100 300, 900 300)", "reach_mm": 50}
    # 30 and 40 from the end make 50; 31 and 40 make 50.6.
    found = marks(marked(dent(930, 340), dent(931, 340), dent(950, 300), zones=[line]))
    assert found == [{"braced"}, set(), {"braced"}]


def test_the_edge_is_the_strip_along_the_border() -> None:
    border = {"kind": "edge", "reach_mm": 25}
    found = marks(
        marked(dent(0, 300), dent(25, 300), dent(25.001, 300), dent(500, 580), zones=[border])
    )
    assert found == [{"edge"}, {"edge"}, set(), {"edge"}]


def test_the_border_of_a_hole_is_an_edge_too() -> None:
    pierced = PLATE[:-1] + ", (400 200, 600 200, 600 400, 400 400, 400 200))"
    border = {"kind": "edge", "reach_mm": 25}
    found = marks(marked(dent(375, 300), dent(374, 300), outline=pierced, zones=[border]))
    assert found == [{"edge"}, set()]


@pytest.mark.parametrize(
    ("mm", "reach", "away", "is_on"),
    [
        (20, 0, 10, True),
        (20, 0, 10.001, False),
        (20, 0, 0, True),
        (20, 3.5, 13.5, True),
        (20, 3.5, 13.6, False),
        (3, 0, 1.5, True),
        (3, 0, 2, False),
    ],
)
def test_a_body_line_marks_a_dent_that_it_passes_within_the_dents_radius_and_its_reach(
    mm: float, reach: float, away: float, is_on: bool
) -> None:
    found = marks(marked(dent(500, 450 + away, mm), zones=[LINE | {"reach_mm": reach}]))
    assert found == [{"body-line"} if is_on else set()]


def test_the_radius_is_half_of_the_longest_axis() -> None:
    found = marks(marked(dent(500, 460, 4, mm2=20), dent(500, 460, 20, mm2=4), zones=[LINE]))
    assert found == [{"body-line"}, {"body-line"}]


def test_a_dent_in_several_zones_has_every_mark_once() -> None:
    again = {"kind": "braced", "shape": "LINESTRING (200 100, 400 100)", "reach_mm": 10}
    across = {"kind": "body-line", "shape": "LINESTRING (300 50, 300 500)"}
    panel = marked(dent(300, 105), dent(320, 105), zones=[AREA, again, across])
    assert surveyed(panel).zone_marks == (("braced", "body-line"), ("braced",))


def test_zones_add_to_what_the_estimator_said_and_take_nothing_away() -> None:
    panel = marked(
        dent(300, 200, marks=["sharp", "braced"]),
        dent(300, 250, marks=["sharp"]),
        dent(800, 100, marks=["glue-only"]),
        zones=[AREA],
    )
    count = estimate(claim(panel)).panels[0].count
    assert count.marks == {"sharp": 2, "braced": 2, "glue-only": 1}


def test_an_oversize_dent_is_marked_by_its_place_as_any_other() -> None:
    count = estimate(claim(marked(dent(300, 200, 45), zones=[AREA]))).panels[0].count
    assert (count.in_columns, len(count.oversize), count.marks) == (0, 1, {"braced": 1})


def test_an_own_outline_without_zones_has_none_and_own_zones_replace_the_generic_ones() -> None:
    generic = {"panel": "hood", "dents": [dent(700, 550)]}
    everywhere = {"kind": "glue-only", "shape": "LINESTRING (690 550, 710 550)", "reach_mm": 30}
    assert surveyed(generic).shape.zones
    assert not surveyed(marked(dent(700, 550))).shape.zones
    own_zones = surveyed(marked(dent(700, 550), outline=None, zones=[everywhere]))
    assert [zone.kind for zone in own_zones.shape.zones] == ["glue-only"]
    assert own_zones.shape.generic
    assert own_zones.zone_marks == (("glue-only",),)


def test_marks_of_zones_are_priced_as_marks_of_the_estimator() -> None:
    by_place = estimate(claim(marked(dent(300, 200), dent(600, 200), zones=[AREA])))
    by_hand = estimate(
        claim({"panel": "hood", "dents": [{"mm": 12, "marks": ["braced"]}, {"mm": 12}]})
    )
    assert by_place.panels[0].count == by_hand.panels[0].count
    assert by_place.lines == by_hand.lines


# --- off the panel ----------------------------------------------------------------------------


def test_a_mark_up_to_five_millimetres_off_the_panel_is_taken_and_noted() -> None:
    panel = marked(dent(-5, 300), dent(500, 602.5), dent(500, 300))
    assert estimate(claim(panel)).panels[0].count.all == 3
    assert warnings(panel) == ["hood: 2 marks up to 5.0 mm beyond the border taken as on it."]


@pytest.mark.parametrize(("x", "y"), [(0, 300), (1000, 600), (500, 0)])
def test_a_mark_on_the_border_is_on_the_panel_and_needs_no_note(x: float, y: float) -> None:
    assert warnings(marked(dent(x, y))) == []


@pytest.mark.parametrize(
    ("x", "y", "by"),
    [
        (-5.1, 300, "5.1"),
        (-5.01, 300, "5.1"),
        (1012, 300, "12.0"),
        (1030, 640, "50.0"),
        (-400, 300, "400.0"),
    ],
)
def test_a_mark_farther_off_is_an_error_that_says_by_how_much(x: float, y: float, by: str) -> None:
    ((place, found, expected),) = mistakes(marked(dent(500, 300), dent(x, y)))
    assert place == "panels[0].dents[1]"
    assert found == f"a mark at {round(x, 1):g}, {y:g}, {by} mm off the panel"
    assert expected == "a place on the panel, 1000 by 600 mm, or at most 5 mm beyond its border"


def test_every_mark_off_the_panel_is_named() -> None:
    panel = marked(dent(-80, 0), dent(5, 5), dent(0, 4000))
    assert [place for place, _, _ in mistakes(panel)] == [
        "panels[0].dents[0]",
        "panels[0].dents[2]",
    ]


@pytest.mark.parametrize("left", ["8.3", "9.8", "10.3", "10.8"])
def test_exactly_five_millimetres_off_is_taken_wherever_the_outline_begins(left: str) -> None:
    """The outline's corner stands at a tenth of a millimetre that is no binary fraction."""
    start = float(left)
    shifted = f"POLYGON (({left} 0, 1000 0, 1000 600, {left} 600, {left} 0))"
    panel = marked(dent(round(start - 5, 1), 300), outline=shifted)
    assert warnings(panel) == ["hood: 1 mark up to 5.0 mm beyond the border taken as on it."]


def test_a_mark_in_a_hole_of_the_outline_is_off_the_panel() -> None:
    pierced = PLATE[:-1] + ", (400 200, 600 200, 600 400, 400 400, 400 200))"
    ((_, found, _),) = mistakes(marked(dent(500, 260), outline=pierced))
    assert found == "a mark at 500, 260, 60.0 mm off the panel"
    assert warnings(marked(dent(500, 204), outline=pierced)) == [
        "hood: 1 mark up to 4.0 mm beyond the border taken as on it."
    ]
    assert warnings(marked(dent(400, 300), outline=pierced)) == []


def test_marks_off_a_generic_outline_are_told_its_size() -> None:
    panel = {"panel": "hood", "dents": [dent(700, 500), dent(700, -300)]}
    ((place, found, expected),) = mistakes(panel)
    box = generic_shape(outline("sedan", "hood")).outline.bounds
    assert place == "panels[0].dents[1]"
    assert "mm off the panel" in found
    assert f"the panel, {box[2]:.0f} by {box[3]:.0f} mm" in expected


# --- another unit -----------------------------------------------------------------------------


@pytest.mark.parametrize("own", [PLATE, None])
def test_marks_in_degrees_are_recognised(own: str | None) -> None:
    panel = marked(dent(-89.630001, 44.960001), dent(-89.630002, 44.960002), outline=own)
    ((place, found, expected),) = mistakes(panel)
    assert place == "panels[0].dents"
    assert found == "marks near -89.630001, 44.960001, which look like degrees"
    assert expected.startswith("millimetres from the origin of the panel")


def test_degrees_that_would_lie_on_the_panel_are_recognised_too() -> None:
    panel = marked(dent(8.540001, 47.370001), dent(8.540012, 47.370004))
    ((_, found, _),) = mistakes(panel)
    assert found == "marks near 8.540001, 47.370001, which look like degrees"


def test_a_single_mark_in_degrees_off_the_panel_is_recognised() -> None:
    ((_, found, _),) = mistakes(marked(dent(-89.630001, 44.960001)))
    assert found.endswith("look like degrees")


def test_one_mark_near_the_corner_of_a_panel_is_no_degree() -> None:
    assert marks(marked(dent(45, 45))) == [set()]


def test_the_same_dent_marked_twice_near_the_corner_of_a_panel_is_no_degree() -> None:
    """Two taps on one spot: the panel is priced, and the pair is told."""
    (told,) = warnings(marked(dent(45, 45), dent(45, 45)))
    assert "the same dent may be marked twice" in told


# --- the same dent twice ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("apart", "mm", "other", "is_told"),
    [
        (5, 20, 20, False),
        (4.999, 20, 20, True),
        (0, 20, 20, True),
        # A quarter of the smaller one: 3 mm.
        (3, 20, 12, False),
        (2.9, 20, 12, True),
        (4.9, 20, 12, False),
    ],
)
def test_two_dents_closer_than_a_quarter_of_the_smaller_are_told(
    apart: float, mm: float, other: float, is_told: bool
) -> None:
    for one, two in ((mm, other), (other, mm)):
        told = warnings(marked(dent(412, 300, one), dent(412 + apart, 300, two)))
        assert bool(told) == is_told


def test_the_size_of_a_pair_is_the_longest_axis() -> None:
    assert warnings(marked(dent(412, 300, 4, mm2=20), dent(416, 300, 20, mm2=3)))
    assert not warnings(marked(dent(412, 300, 4, mm2=8), dent(416, 300, 20, mm2=3)))


def test_pairs_are_listed_with_their_numbers_and_places() -> None:
    panel = marked(
        dent(412, 355.5, 20), dent(100, 100), dent(413, 355.5, 20), dent(700, 200), dent(101, 100)
    )
    assert warnings(panel) == [
        "hood: the same dent may be marked twice, pairs closer than a quarter of the smaller size: "
        "1 and 3 at 412, 355.5; 2 and 5 at 100, 100."
    ]


def test_one_pair_is_a_pair() -> None:
    assert warnings(marked(dent(412, 300), dent(412, 301))) == [
        "hood: the same dent may be marked twice, a pair closer than a quarter of the smaller "
        "size: 1 and 2 at 412, 300."
    ]


def test_a_pair_is_only_told_and_both_dents_are_counted() -> None:
    panel = marked(dent(412, 300), dent(412, 300))
    assert estimate(claim(panel)).panels[0].count.all == 2


def test_dents_of_different_panels_make_no_pair() -> None:
    hood = marked(dent(412, 300))
    assert not estimate(claim(hood, hood | {"panel": "roof"})).warnings


def test_of_many_pairs_a_dozen_are_listed_and_the_rest_counted() -> None:
    pairs = [dent(x, y) for x in range(50, 850, 40) for y in (300, 301)]
    (told,) = warnings(marked(*pairs))
    assert told.count(" and ") == MAX_LISTED + 1
    assert told.endswith(f"; and {20 - MAX_LISTED} more.")
    # Fifty dents on one spot make 1,225 pairs, more than are looked for.
    (told,) = warnings(marked(*[dent(412, 300)] * 50))
    assert told.endswith(f"; and more than {MAX_PAIRS - MAX_LISTED} others.")


def test_the_first_pairs_are_found_in_order_up_to_the_cap() -> None:
    x, size = np.zeros(60), np.full(60, 12.0)
    pairs, more = marked_twice(x, x, size)
    everyone = [(i, j) for i in range(60) for j in range(i + 1, 60)]
    assert pairs == everyone[:MAX_PAIRS]
    assert more
    # 45 dents make 990 pairs, 10 fewer than the cap.
    assert marked_twice(x[:45], x[:45], size[:45]) == (everyone_of(45), False)


def everyone_of(number: int) -> list[tuple[int, int]]:
    return [(i, j) for i in range(number) for j in range(i + 1, number)]


def test_as_many_dents_as_a_panel_may_have_on_one_spot_are_told_as_pairs() -> None:
    spot = np.full(MAX_DENTS, 300.0)
    pairs, more = marked_twice(spot, spot, np.full(MAX_DENTS, 12.0))
    assert len(pairs) == MAX_PAIRS
    assert more


@pytest.mark.parametrize("number", [0, 1])
def test_fewer_than_two_dents_make_no_pair(number: int) -> None:
    x = np.zeros(number)
    assert marked_twice(x, x, x + 12) == ([], False)


@settings(max_examples=examples(100))
@given(
    st.lists(
        st.tuples(st.integers(0, 400), st.integers(0, 400), st.sampled_from([4, 8, 12, 20, 40])),
        max_size=25,
    )
)
def test_pairs_are_those_of_comparing_every_dent_with_every_other(
    dents: list[tuple[int, int, int]],
) -> None:
    """Places in quarters of a millimetre, so that a distance of exactly a quarter occurs."""
    placed = [dent(x / 4, y / 4, mm) for x, y, mm in dents]
    arrays = np.array(dents, dtype=float).reshape(-1, 3).T
    found, more = marked_twice(arrays[0] / 4, arrays[1] / 4, arrays[2])
    assert (found, more) == (pairs_marked_twice(placed), False)


@pytest.mark.parametrize(("one", "other"), [(3.7, 8.2), (4.2, 8.7), (5.2, 9.7)])
def test_exactly_a_quarter_apart_is_no_pair_in_tenths_of_a_millimetre(
    one: float, other: float
) -> None:
    """4.5 mm apart, dents of 18 mm."""
    assert warnings(marked(dent(one, 300, 18), dent(other, 300, 18))) == []


# --- what changes nothing ---------------------------------------------------------------------

BODY_PANELS = st.sampled_from(
    [("sedan", "hood"), ("suv", "liftgate"), ("pickup", "bedside-r"), ("van", "door-rl")]
)
SPOTS = st.lists(
    st.tuples(st.integers(0, 4000), st.integers(0, 4000), st.integers(2, 60)), min_size=1
)


@settings(max_examples=examples(60))
@given(BODY_PANELS, SPOTS, st.randoms())
def test_what_is_said_of_a_dent_does_not_depend_on_the_order_of_dents(
    of_body: tuple[str, str], spots: list[tuple[int, int, int]], random: Any
) -> None:
    shape = generic_shape(outline(*of_body))
    order = list(range(len(spots)))
    random.shuffle(order)
    x, y, size = np.array(spots, dtype=float).T
    there = classify(shape, x, y, size)
    shuffled = classify(shape, x[order], y[order], size[order])
    assert zone_marks(shuffled) == [zone_marks(there)[place] for place in order]
    assert list(shuffled.beyond) == list(there.beyond[order])


@settings(max_examples=examples(60))
@given(
    st.lists(st.tuples(st.integers(0, 1000), st.integers(0, 600)), min_size=1, max_size=20),
    st.integers(-3000, 3000),
    st.integers(-3000, 3000),
)
def test_moving_a_panel_with_its_zones_and_marks_changes_nothing(
    spots: list[tuple[int, int]], right: int, up: int
) -> None:
    def at_a_place(right: int, up: int) -> Survey:
        def at(*points: tuple[int, int]) -> list[list[int]]:
            return [[x + right, y + up] for x, y in points]

        zones = [
            {
                "kind": "braced",
                "shape": polygon(at((200, 100), (400, 100), (200, 300), (200, 100))),
            },
            {"kind": "body-line", "shape": line(at((0, 500), (1000, 400)))},
            {"kind": "edge", "reach_mm": 40},
        ]
        # One in the middle, so that no few marks near the origin look like degrees.
        dents = [dent(x + right, y + up) for x, y in [(500, 300), *spots]]
        ring = polygon(at((0, 0), (1000, 0), (1000, 600), (0, 600), (0, 0)))
        return surveyed(marked(*dents, outline=ring, zones=zones))

    still, moved = at_a_place(0, 0), at_a_place(right, up)
    assert moved.zone_marks == still.zone_marks
    assert (moved.taken, moved.twice) == (still.taken, still.twice)


def polygon(*rings: list[list[int]]) -> Table:
    return {"type": "Polygon", "coordinates": list(rings)}


def line(points: list[list[int]]) -> Table:
    return {"type": "LineString", "coordinates": points}


@settings(max_examples=examples(60))
@given(
    st.lists(st.tuples(st.integers(0, 1000), st.integers(0, 600)), min_size=1, max_size=30),
    st.integers(0, 300),
    st.integers(0, 200),
)
def test_a_dent_in_a_zone_is_in_every_larger_one(
    spots: list[tuple[int, int]], wider: int, higher: int
) -> None:
    def box(left: int, bottom: int, right: int, top: int) -> Table:
        corners = [(left, bottom), (right, bottom), (right, top), (left, top), (left, bottom)]
        return {"kind": "braced", "shape": polygon([[x, y] for x, y in corners])}

    dents = [dent(500, 300), *(dent(x, y) for x, y in spots)]
    small = marks(marked(*dents, zones=[box(400, 200, 500, 300)]))
    large = marks(marked(*dents, zones=[box(400 - wider, 200, 500, 300 + higher)]))
    assert all(less <= more for less, more in zip(small, large, strict=True))


# --- against plain counting -------------------------------------------------------------------


def on_generic(of_body: tuple[str, str], dents: list[Table]) -> tuple[Table, Table]:
    body, name = of_body
    return {"panel": name, "dents": dents}, {"body": body}


@settings(max_examples=examples(60))
@given(BODY_PANELS, SPOTS)
def test_marks_on_generic_outlines_are_those_of_plain_counting(
    of_body: tuple[str, str], spots: list[tuple[int, int, int]]
) -> None:
    shape = generic_shape(outline(*of_body))
    x, y, size = np.array(spots, dtype=float).T / [[2], [2], [1]]
    found = classify(shape, x, y, size)
    dents = [dent(a / 2, b / 2, mm) for a, b, mm in spots]
    panel, vehicle = on_generic(of_body, dents)
    plain = plain_panel(panel, vehicle)
    assert [set(each) for each in zone_marks(found)] == [zones_of(plain, each) for each in dents]
    assert list(found.beyond) == pytest.approx([beyond_mm(plain, d["x"], d["y"]) for d in dents])


@pytest.mark.parametrize("name", ["hood", "quarter-l", "rail-r"])
def test_every_corner_of_every_zone_is_marked_as_plain_counting_marks_it(name: str) -> None:
    drawn = outline("sedan", name)
    points = [*drawn.ring, *(point for zone in drawn.zones for point in zone.points)]
    dents = [dent(x, y) for x, y in points]
    panel, vehicle = on_generic(("sedan", name), dents)
    plain = plain_panel(panel, vehicle)
    assert marks(panel) == [zones_of(plain, each) for each in dents]
    assert surveyed(panel).taken == (0, 0)


def test_a_hundred_thousand_marks_are_classified_as_plain_counting_does_a_sample_of_them() -> None:
    shape = generic_shape(outline("suv", "roof"))
    _, _, right, top = shape.outline.bounds
    random = np.random.default_rng(20260519)
    # Whole millimetres, so that many lie exactly on a border or at exactly a reach.
    x = random.integers(-10, int(right) + 10, 100_000).astype(float)
    y = random.integers(-10, int(top) + 10, 100_000).astype(float)
    size = random.integers(2, 60, 100_000).astype(float)
    found = classify(shape, x, y, size)
    said = zone_marks(found)
    plain = plain_panel({"panel": "roof"}, {"body": "suv"})
    chosen = random.choice(100_000, 2_000, replace=False)
    dents = [dent(int(x[i]), int(y[i]), int(size[i])) for i in chosen]
    assert [set(said[i]) for i in chosen] == [zones_of(plain, each) for each in dents]
    assert list(found.beyond[chosen]) == pytest.approx(
        [beyond_mm(plain, each["x"], each["y"]) for each in dents]
    )
    # Every kind of zone, the plain middle and the outside all occur in the sample.
    assert {kind for i in chosen for kind in said[i]} == {zone.kind for zone in shape.zones}
    assert {bool(said[i]) for i in chosen} == {True, False}
    assert {found.beyond[i] > 0 for i in chosen} == {True, False}


# --- a whole claim ----------------------------------------------------------------------------


def priced_marks() -> Estimate:
    return estimate(
        claim(
            marked(
                dent(300, 200), dent(300, 201), dent(500, 450, 41, marks=["sharp"]), dent(-2, 300),
                zones=[AREA, LINE],
            )
        )
    )  # fmt: skip


def test_the_evidence_of_a_marked_panel_says_what_was_made_of_it() -> None:
    document = sheet(priced_marks())
    assert document["evidence"]["counts"] == [
        {
            "panel": "hood",
            "method": "marks",
            "dents": 4,
            "band": [1, 3],
            "largest_mm": 41,
            "outline": "the shop's own",
            "marked": {"body-line": 1, "braced": 2, "sharp": 1},
        }
    ]
    assert document["evidence"]["warnings"] == [
        "hood: 1 mark up to 2.0 mm beyond the border taken as on it.",
        "hood: the same dent may be marked twice, a pair closer than a quarter of the smaller "
        "size: 1 and 2 at 300, 200.",
    ]


def test_a_panel_counted_by_marks_is_the_same_after_reading_and_writing() -> None:
    given_claim = claim(marked(dent(300.25, 200, 17.5), dent(1, 2), zones=[AREA, LINE]))
    there = estimate(given_claim)
    back = estimate(json.loads(json.dumps(sheet(there)["claim_file"])))
    assert back.claim == there.claim
    assert sheet(back) == sheet(there)


def test_marks_of_a_panel_that_the_claim_reads_are_those_of_plain_counting() -> None:
    panel = marked(dent(300, 200), dent(500, 455), dent(0, 0), zones=[AREA, LINE])
    read = require_claim(claim_from_data(claim(panel))).panels[0]
    survey = surveyed(panel)
    joined = [
        sorted({*each.marks, *said})
        for each, said in zip(read.dents, survey.zone_marks, strict=True)
    ]
    assert joined == [each["marks"] for each in marked_dents(panel, {"body": "sedan"})]
