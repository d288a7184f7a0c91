"""Sample squares: how a count in squares becomes the count of a panel, and which squares can't.

Sides in mm, areas in cm². Most tests use a plate of 1000 by 600 mm, which is 6,000 cm², and
squares of 200 mm, which are 400 cm² each: one square stands for fifteen.
"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from math import ceil, floor
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hailcalc.claimfile import Sample, claim_from_data
from hailcalc.coins import US
from hailcalc.counting.squares import SampleEstimate, estimate_sample, scaled_to, whole_cm2
from hailcalc.problems import InputError
from hailcalc.sheet.verify import verify_sheet
from tests.builders import Table, claim, estimate, matrix, sheet
from tests.effort import examples
from tests.plain_counting import area_over_squares, by_largest_remainder, scaled_sample

PLATE = "POLYGON ((0 0, 1000 0, 1000 600, 0 600, 0 0))"
COINS = [coin.name for coin in US]


def square(at: Any = None, marked: Any = None, **tally: Any) -> Table:
    """A square with so many dents of each coin; its place and marks if they are given."""
    more: Table = {} if at is None else {"at": at}
    return {"tally": tally} | ({} if marked is None else {"marked": marked}) | more


def sampled(*squares: Table, side: float = 200, name: str = "hood", **more: Any) -> Table:
    own = {"outline": PLATE} | more
    return {"panel": name, "sample": {"side_mm": side, "squares": list(squares)}} | own


def big_matrix(**head: Any) -> Table:
    """A matrix of every coin that prices up to 2,000 dents."""
    made = matrix(matrix={"columns": COINS, **head})
    made["grid"][0] |= {
        "bands": [1, 30, 60, 150],
        "last": 2000,
        "rows": [[20, 22, 24, 30, 31, 32], [40, 44, 48, 60, 62, 64], [80, 88, 96, 120, 124, 128],
                 [160, 176, 192, 240, 248, 256]],
    }  # fmt: skip
    return made


def estimated(*squares: Table, **more: Any) -> SampleEstimate:
    found = estimate(claim(sampled(*squares, **more)), big_matrix()).panels[0].survey
    assert found is not None
    assert found.sample is not None
    return found.sample


def mistakes(
    panel: Table, matrix_data: Table | None = None, **more: Any
) -> list[tuple[str, str, str]]:
    with pytest.raises(InputError) as caught:
        estimate(claim(panel, **more), matrix_data or big_matrix())
    return [(problem.place, problem.found, problem.expected) for problem in caught.value.problems]


# --- scaling ----------------------------------------------------------------------------------


def test_one_square_in_fifteen_makes_fifteen_dents_of_one() -> None:
    found = estimated(square(dime=2, nickel=1), square(dime=1))
    # 6,000 cm² over 2 × 400 cm² is 7.5: 4 dents stand for 30, 3 dimes for 22.5, 1 nickel for 7.5.
    # 22 and 7 are one short; as much is cut off of both, so the smaller coin is rounded up.
    assert (found.counted, found.area_cm2) == (4, 6000)
    assert found.squares_cm2 == 800
    assert found.factor == Fraction(15, 2)
    assert found.estimate.tally == {"dime": 23, "nickel": 7}
    assert found.estimate.total == 30


def test_a_half_dent_is_rounded_up() -> None:
    # 7.5 × 3 = 22.5.
    assert estimated(square(dime=2), square(dime=1)).estimate.total == 23


def test_squares_without_a_dent_count_as_squares() -> None:
    empty = [square(), square(dime=0), {}]
    found = estimated(square(dime=4), *empty)
    # 6,000 over 4 × 400 is 3.75; 4 × 3.75 = 15.
    assert (found.per_square, found.estimate.total) == ((4, 0, 0, 0), 15)


def test_the_area_is_taken_in_whole_square_centimetres_a_half_rounded_up() -> None:
    assert [whole_cm2(Fraction(mm2)) for mm2 in (149, 150, 249, 250)] == [1, 2, 2, 3]
    # 1000 by 300.05 is 3,000.5 cm²: 3,001, over 400: 7.5025. Of 4 dents: 30.01.
    found = estimated(square(dime=4), outline="POLYGON ((0 0,1000 0,1000 300.05,0 300.05,0 0))")
    assert (found.area_cm2, found.factor) == (3001, Fraction(3001, 400))


def test_a_side_with_decimals_is_taken_exactly() -> None:
    # 101.6 mm are 103.2256 cm².
    found = estimated(square(dime=4), side=101.6)
    assert found.squares_cm2 == Fraction(1032256, 10000)
    # 4 × 6000 / 103.2256 = 232.5
    assert found.estimate.total == 233


def test_a_hole_is_no_area_of_the_panel() -> None:
    pierced = PLATE[:-1] + ", (400 200, 600 200, 600 400, 400 400, 400 200))"
    assert estimated(square(dime=4), outline=pierced).area_cm2 == 6000 - 400


def test_a_generic_outline_gives_the_area_where_the_shop_has_none() -> None:
    panel = sampled(square(dime=4))
    del panel["outline"]
    there = estimate(claim(panel), big_matrix()).panels[0].survey
    longer = estimate(claim(panel, vehicle={"length_mm": 5200}), big_matrix()).panels[0].survey
    assert there is not None
    assert longer is not None
    assert there.shape.generic
    assert there.sample is not None
    assert longer.sample is not None
    assert longer.sample.area_cm2 > there.sample.area_cm2 == whole_cm2(there.shape.area_mm2)


def test_marked_dents_are_scaled_as_the_dents_are() -> None:
    marked = {"braced": {"dime": 2}, "sharp": {"nickel": 1}}
    found = estimated(square(dime=3, nickel=1, marked=marked), square(dime=1))
    # × 7.5: 4 dimes are 30, 1 nickel is 7.5 of 37.5, so 8; 2 braced dimes 15, 1 sharp nickel 8.
    assert found.estimate.tally == {"dime": 30, "nickel": 8}
    assert found.estimate.marked == {"braced": {"dime": 15}, "sharp": {"nickel": 8}}


def test_no_more_are_marked_than_there_are_of_a_size() -> None:
    marked = {"braced": {"dime": 1, "nickel": 1}}
    found = estimated(square(dime=1, nickel=1, marked=marked), square())
    # 7.5 and 7.5 of 15: 8 dimes, 7 nickels; 7.5 marked would be 8 of each.
    assert found.estimate.tally == {"dime": 8, "nickel": 7}
    assert found.estimate.marked == {"braced": {"dime": 8, "nickel": 7}}


def sample_of(squares: list[Table], side: float = 200) -> Sample:
    return Sample.model_validate({"side_mm": side, "squares": squares})


def test_sizes_are_scaled_by_the_areas_and_not_by_the_rounded_total() -> None:
    """Each size's part cut off is that of its count times the factor printed on the sheet."""
    found = estimate_sample(sample_of([square(dime=2, cent=5)], 190), 955, COINS).estimate
    # 955 over 361 is 2.6454: 7 dents 18.52, so 19; 2 dimes 5.29; 5 cents 13.23. More is cut off
    # of the dimes.
    assert found.total == 19
    assert found.tally == {"dime": 6, "cent": 13}


def test_marks_are_scaled_by_the_areas_and_not_by_the_rounded_total() -> None:
    squares = [square(cent=2, nickel=8, marked={"edge": {"nickel": 4}})]
    found = estimate_sample(sample_of(squares, 190), 948, COINS).estimate
    # 948 over 361 is 2.6260: 10 dents 26.26, so 26; 8 nickels 21.01; 4 marked 10.504, so 11.
    assert found.tally == {"cent": 5, "nickel": 21}
    assert found.marked == {"edge": {"nickel": 11}}


@settings(max_examples=examples(300))
@given(
    st.lists(
        st.dictionaries(st.sampled_from(COINS), st.integers(0, 12), max_size=4),
        min_size=1,
        max_size=6,
    ),
    st.integers(5, 40),
    st.integers(1, 20_000),
    st.data(),
)
def test_scaling_is_that_of_plain_counting(
    tallies: list[dict[str, int]], side_cm: int, area: int, data: st.DataObject
) -> None:
    """Each size by the panel's area over the squares', rounded by largest remainder."""
    if not any(sum(tally.values()) for tally in tallies):
        tallies[0] = {"dime": 1}
    squares = [
        square(
            marked={"edge": {c: data.draw(st.integers(0, n)) for c, n in tally.items()}}, **tally
        )
        for tally in tallies
    ]
    given_sample = {"side_mm": side_cm * 10, "squares": squares}
    area = max(area, len(squares) * side_cm**2)
    found = estimate_sample(Sample.model_validate(given_sample), area, COINS).estimate
    plain = scaled_sample(given_sample, Fraction(area * 100), COINS)
    assert found.total == plain.total
    assert with_some(found.tally) == with_some(plain.tally)
    assert {m: with_some(n) for m, n in found.marked.items()} == {
        m: with_some(n) for m, n in plain.marked.items()
    }


def with_some(tally: dict[str, int]) -> dict[str, int]:
    return {coin: number for coin, number in tally.items() if number}


@settings(max_examples=examples(300))
@given(
    st.lists(st.dictionaries(st.sampled_from(COINS), st.integers(0, 40)), min_size=1, max_size=8),
    st.integers(5, 40),
    st.integers(1, 50_000),
)
def test_size_classes_add_up_to_the_total_at_the_estimate_and_at_both_limits(
    tallies: list[dict[str, int]], side_cm: int, area: int
) -> None:
    if not any(sum(tally.values()) for tally in tallies):
        tallies[0] = {"quarter": 1}
    squares = [square(**tally) for tally in tallies]
    area = max(area, len(squares) * side_cm**2)
    found = estimate_sample(sample_of(squares, side_cm * 10), area, COINS)
    factor = area_over_squares({"side_mm": side_cm * 10, "squares": squares}, Fraction(area * 100))
    counted = sum(sum(tally.values()) for tally in tallies)
    total = floor(counted * factor + Fraction(1, 2))
    assert found.factor == factor
    assert sum(found.estimate.tally.values()) == total
    assert sum(found.lower.tally.values()) == max(
        counted, floor(Fraction(found.limits.lower) * factor)
    )
    assert sum(found.upper.tally.values()) == ceil(Fraction(found.limits.upper) * factor)
    # The limits hold the estimate between them, and no fewer than were seen.
    assert counted <= found.lower.total <= total <= found.upper.total
    assert found.limits.lower <= counted <= found.limits.upper
    for scaled in (found.lower, found.estimate, found.upper):
        for coin, number in scaled.tally.items():
            exact = Fraction(sum(tally.get(coin, 0) for tally in tallies) * scaled.total, counted)
            assert abs(number - exact) < 1


@settings(max_examples=examples(100))
@given(
    st.dictionaries(st.sampled_from(COINS), st.integers(1, 60), min_size=1), st.integers(0, 5000)
)
def test_a_limit_is_shared_out_in_the_proportions_that_were_seen(
    seen: dict[str, int], total: int
) -> None:
    tally = {coin: seen[coin] for coin in COINS if coin in seen}
    scaled = scaled_to(scaled_to_itself(tally), total)
    everyone = sum(tally.values())
    exact = {coin: Fraction(number * total, everyone) for coin, number in tally.items()}
    assert scaled.tally == by_largest_remainder(exact, total)


def scaled_to_itself(tally: dict[str, int]) -> Any:
    found = estimate_sample(sample_of([square(**tally)], 100), 100, COINS).estimate
    assert found.tally == tally
    return found


def test_equal_remainders_go_to_the_smaller_coin_whatever_the_order_of_the_file() -> None:
    one = estimated(square(dime=1, nickel=1), square())
    other = estimated(square(), square(nickel=1, dime=1))
    assert one.estimate.tally == other.estimate.tally == {"dime": 8, "nickel": 7}


OWN_COINS = [
    {"name": name, "mm": mm, "source": "the shop's own gauge"}
    for name, mm in (("small-disc", "12"), ("large-disc", "30"))
]


@pytest.mark.parametrize("order", [("small-disc", "large-disc"), ("large-disc", "small-disc")])
def test_the_smaller_of_a_shops_own_coins_is_rounded_up_first_too(order: tuple[str, str]) -> None:
    """Otherwise the order of keys, which a digest does not see, would decide the price."""
    made = matrix(matrix={"coins": OWN_COINS, "columns": ["small-disc", "large-disc"]})
    panel = sampled({"tally": {order[0]: 1, order[1]: 1}}, {})
    assert estimate(claim(panel), made).panels[0].count.counts == (8, 7)


# --- limits -----------------------------------------------------------------------------------


def test_a_panel_wholly_covered_by_squares_has_at_least_what_was_seen() -> None:
    squares = [square(dime=3)] * 2
    found = estimated(*squares, outline="POLYGON ((0 0, 400 0, 400 200, 0 200, 0 0))")
    assert found.factor == 1
    assert (found.lower.total, found.estimate.total) == (6, 6)
    assert found.upper.total > 6


def test_the_limits_of_four_dents_by_hand() -> None:
    # Garwood's limits of 4 are 1.09 and 10.24 (1.0898 and 10.2416, rounded outward 1.08, 10.25).
    found = estimated(square(dime=4))
    assert (found.limits.lower, found.limits.upper) == (Decimal("1.08"), Decimal("10.25"))
    # × 15: 16.2 down to 16, 153.75 up to 154.
    assert (found.lower.total, found.estimate.total, found.upper.total) == (16, 60, 154)


@settings(max_examples=examples(100))
@given(st.lists(st.integers(0, 30), min_size=2, max_size=8), st.integers(0, 7), st.integers(1, 10))
def test_more_dents_in_every_square_never_lower_estimate_or_upper_limit_of_a_poisson_panel(
    counts: list[int], place: int, more: int
) -> None:
    place %= len(counts)
    raised = [count + (more if at == place else 0) for at, count in enumerate(counts)]
    if not sum(counts):
        return
    fewer, larger = (
        estimate_sample(sample_of([square(dime=n) for n in each]), 6000, COINS)
        for each in (counts, raised)
    )
    assert fewer.estimate.total < larger.estimate.total
    if fewer.limits.method == larger.limits.method == "Poisson":
        assert fewer.lower.total <= larger.lower.total
        assert fewer.upper.total <= larger.upper.total


# --- squares that cannot be -------------------------------------------------------------------


@pytest.mark.parametrize(
    ("side", "outline", "is_taken"),
    [
        (600, PLATE, True),
        (602, PLATE, False),
        # The circle within a right triangle of 1000 by 600 is 1600 less the long side, 434 mm.
        (434, "POLYGON ((0 0, 1000 0, 1000 600, 0 0))", True),
        (436, "POLYGON ((0 0, 1000 0, 1000 600, 0 0))", False),
    ],
)
def test_a_square_is_no_larger_than_the_panel(side: float, outline: str, is_taken: bool) -> None:
    panel = sampled(square(dime=4), side=side, outline=outline)
    if is_taken:
        assert estimate(claim(panel), big_matrix()).panels[0].count.all >= 4
        return
    ((place, found, expected),) = mistakes(panel)
    assert place == "panels[0].sample.side_mm"
    assert found == f"squares of {side:g} mm"
    widest = 600 if outline == PLATE else 434
    told = f"squares that fit on the panel; the widest circle on it is {widest} mm"
    assert expected == told


def test_squares_are_not_larger_than_the_panel_together() -> None:
    assert estimated(*[square(dime=1)] * 15).estimate.total == 15
    ((place, found, expected),) = mistakes(sampled(*[square(dime=1)] * 16))
    assert place == "panels[0].sample.squares"
    assert found == "16 squares of 200 mm, 6,400 cm² together"
    assert expected == "squares side by side within the panel's 6,000 cm²"


@pytest.mark.parametrize("squares", [[square()], [square(dime=0), {}, square(nickel=0)]])
def test_squares_without_any_dent_can_not_be_scaled(squares: list[Table]) -> None:
    ((place, found, expected),) = mistakes(sampled(*squares))
    assert place == "panels[0].sample.squares"
    number = "1 square" if len(squares) == 1 else f"{len(squares)} squares"
    assert found == f"{number} without a dent"
    assert expected.startswith("dents to scale")


@pytest.mark.parametrize(
    ("sample", "place", "expected"),
    [
        ({"side_mm": 200, "squares": []}, "squares", "at least 1 item"),
        ({"side_mm": 200}, "squares", "required"),
        ({"squares": [square(dime=1)]}, "side_mm", "required"),
        ({"side_mm": 200, "squares": [square(dime=1)] * 201}, "squares", "at most 200 items"),
        ({"side_mm": 0, "squares": [square(dime=1)]}, "side_mm", "50 or more"),
        ({"side_mm": -5, "squares": [square(dime=1)]}, "side_mm", "50 or more"),
        ({"side_mm": 5001, "squares": [square(dime=1)]}, "side_mm", "at most 5000"),
        ({"side_mm": 60.0001, "squares": [square(dime=1)]}, "side_mm", "at most 3 decimals"),
        ({"side_mm": "200", "squares": [square(dime=1)]}, "side_mm", "a number"),
        ({"side_mm": 200, "squares": [square(dime=-1)]}, "squares[0].tally.dime", "0 or more"),
        ({"side_mm": 200, "squares": [square(dime=1.5)]}, "squares[0].tally.dime", "whole number"),
        ({"side_mm": 200, "squares": [square(dime=1, at=[1])]}, "squares[0].at", ""),
        ({"side_mm": 200, "squares": [square(dime=1, at=[1, 2, 3])]}, "squares[0].at", ""),
        ({"side_mm": 200, "squares": [square(dime=1) | {"side": 5}]}, "squares[0]", "tally"),
        ({"side_mm": 200, "squares": [square(dime=1)], "area": 5}, "", "side_mm"),
        ([], "", "a table"),
    ],
)
def test_a_sample_that_is_none(sample: Any, place: str, expected: str) -> None:
    ((where, _, wanted), *rest) = claim_mistakes({"panel": "hood", "sample": sample})
    assert where.startswith(".".join(filter(None, ["panels[0].sample", place])))
    assert expected in wanted
    assert not rest or place == "squares[0].at"


def claim_mistakes(panel: Table) -> list[tuple[str, str, str]]:
    return [(p.place, p.found, p.expected) for p in claim_from_data(claim(panel)).problems]


def test_no_more_are_marked_in_a_square_than_were_counted_there() -> None:
    panel = sampled(square(dime=3), square(dime=1, marked={"sharp": {"dime": 2, "cent": 1}}))
    assert claim_mistakes(panel) == [
        ("panels[0].sample.squares[1].marked.sharp.dime", "2 marked", "at most the 1 counted"),
        ("panels[0].sample.squares[1].marked.sharp.cent", "1 marked", "at most the 0 counted"),
    ]


@pytest.mark.parametrize(
    "more",
    [
        {"tally": {"dime": 1}},
        {"dents": [{"mm": 12}]},
        {"dents": [{"mm": 12, "x": 5, "y": 5}]},
        {"tally": {"dime": 1}, "marked": {"edge": {"dime": 1}}},
    ],
)
def test_a_panel_is_sampled_or_counted_and_not_both(more: Table) -> None:
    ((place, found, expected),) = claim_mistakes(sampled(square(dime=4)) | more)
    assert place == "panels[0]"
    assert found == "sample squares beside dents, a tally or marks"
    assert expected == "one way of counting; only oversize dents may stand beside a sample"


def test_a_size_that_the_matrix_has_not_is_named_with_its_square() -> None:
    panel = sampled(square(dime=3), square(florin=1))
    assert [place for place, _, _ in mistakes(panel)] == [
        "panels[0].sample.squares[1].tally.florin"
    ]


# --- placed squares ---------------------------------------------------------------------------


def test_squares_side_by_side_at_the_very_border_are_taken() -> None:
    row = [square(dime=1, at=[x, 400]) for x in (0, 200, 400, 600, 800)]
    assert estimated(*row).estimate.total == 15
    # In tenths of a millimetre, which no double holds exactly.
    tenths = [square(dime=1, at=[0.1 + 200.1 * i, 0.3]) for i in range(4)]
    assert estimated(*tenths, side=200.1).estimate.total == 15


@pytest.mark.parametrize(
    ("at", "share"), [([900, 400], "50.0"), ([-20, 0], "10.0"), ([5000, 0], "100.0")]
)
def test_a_square_off_the_panel_says_how_much_of_it(at: list[float], share: str) -> None:
    panel = sampled(square(dime=3, at=[0, 0]), square(dime=1, at=at))
    found = mistakes(panel)
    assert (
        "panels[0].sample.squares[1]",
        f"a square with {share} % of it off the panel",
        "a square that lies on the panel",
    ) in found


def test_a_square_over_a_hole_is_off_the_panel() -> None:
    pierced = PLATE[:-1] + ", (400 200, 600 200, 600 400, 400 400, 400 200))"
    panel = sampled(square(dime=3, at=[300, 200]), outline=pierced)
    assert mistakes(panel) == [
        (
            "panels[0].sample.squares[0]",
            "a square with 50.0 % of it off the panel",
            "a square that lies on the panel",
        )
    ]


def test_overlapping_squares_are_told_in_pairs() -> None:
    panel = sampled(
        square(dime=3, at=[0, 0]), square(dime=3, at=[500, 0]), square(dime=3, at=[150, 0])
    )
    assert mistakes(panel) == [
        (
            "panels[0].sample.squares[2]",
            "a square that shares 25.0 % with squares[0]",
            "squares side by side: no dent counted twice",
        )
    ]
    same = sampled(square(dime=3, at=[0, 0]), square(dime=3, at=[0, 0]))
    assert "100.0 % with squares[0]" in mistakes(same)[0][1]


def test_every_square_has_a_place_or_none_has() -> None:
    panel = sampled(square(dime=3, at=[0, 0]), square(dime=3), square(dime=3))
    assert mistakes(panel) == [
        (
            "panels[0].sample.squares",
            "1 of 3 squares with a place on the panel",
            "a place for every square, or for none",
        )
    ]


# --- what the matrix accepts ------------------------------------------------------------------


@pytest.mark.parametrize(("accepted", "is_taken"), [(59, True), (60, True), (61, False)])
def test_sampling_is_accepted_from_the_estimated_count_that_the_matrix_says(
    accepted: int, is_taken: bool
) -> None:
    """4 dents in one square of fifteen stand for 60."""
    made = big_matrix(sample_from=accepted)
    panel = sampled(square(dime=4), oversize=[{"mm": 41}])
    if is_taken:
        assert estimate(claim(panel), made).panels[0].count.in_columns == 60
        return
    assert mistakes(panel, made) == [
        (
            "panels[0].sample",
            "about 60 dents on the hood by sample squares",
            f"every dent counted: the matrix accepts samples from {accepted}",
        )
    ]


def test_a_matrix_that_says_nothing_accepts_any_sample() -> None:
    assert estimate(claim(sampled(square(dime=1))), big_matrix()).panels[0].count.all == 15


# --- the price --------------------------------------------------------------------------------


def test_oversize_dents_beside_a_sample_are_not_scaled() -> None:
    panel = sampled(
        square(dime=4, marked={"edge": {"dime": 1}}), oversize=[{"mm": 41, "marks": ["edge"]}]
    )
    result = estimate(claim(panel), big_matrix())
    count = result.panels[0].count
    assert (count.in_columns, len(count.oversize)) == (60, 1)
    # 1 of 4 marked stands for 15, and the oversize one is itself.
    assert count.marks == {"edge": 16}
    assert [line.kind for line in result.lines] == ["repair", "oversize"]


@settings(max_examples=examples(60))
@given(
    st.lists(
        st.dictionaries(st.sampled_from(COINS), st.integers(0, 5), max_size=3),
        min_size=1,
        max_size=5,
    ),
    st.sampled_from(["layers", "share", "largest", "most", "each"]),
    st.sampled_from(["flat", "ramp"]),
)
def test_a_sampled_panel_is_priced_as_a_tally_of_what_it_stands_for(
    tallies: list[dict[str, int]], mixed: str, within_band: str
) -> None:
    if not any(sum(tally.values()) for tally in tallies):
        tallies[0] = {"dime": 1}
    squares = [square(marked={"braced": dict(tally)}, **tally) for tally in tallies]
    made = big_matrix(mixed=mixed, within_band=within_band)
    made["extra"] = [
        {"id": "b", "label": "Braced", "when": {"mark": "braced"}, "of": "affected", "percent": "9"}
    ]
    priced = estimate(claim(sampled(*squares)), made)
    survey = priced.panels[0].survey
    assert survey is not None
    assert survey.sample is not None
    assert priced.limits is not None

    def by_tally(scaled: Any) -> Any:
        panel = {"panel": "hood", "tally": scaled.tally, "marked": scaled.marked}
        return estimate(claim(panel), made)

    assert [line.amount for line in priced.lines] == [
        line.amount for line in by_tally(survey.sample.estimate).lines
    ]
    for limit, scaled in zip(
        priced.limits, (survey.sample.lower, survey.sample.upper), strict=True
    ):
        there = by_tally(scaled)
        assert limit.totals == there.totals
        expected = there.panels[0].total if there.panels[0].priced else None
        assert limit.panels == {"hood": expected}


def test_only_the_sampled_panels_of_a_claim_have_limits() -> None:
    priced = estimate(
        claim(sampled(square(dime=4)), {"panel": "roof", "tally": {"dime": 7}}), big_matrix()
    )
    assert priced.limits is not None
    lower, upper = priced.limits
    assert list(lower.panels) == list(upper.panels) == ["hood"]
    assert lower.totals.total <= priced.totals.total <= upper.totals.total
    # 16, 60 and 154 dimes: 20, 80 and 160 minutes at 1.50, and 20 minutes for the roof.
    assert [lower.panels["hood"], priced.panels[0].total, upper.panels["hood"]] == [
        3000,
        12000,
        24000,
    ]
    assert (lower.totals.total, upper.totals.total) == (6000, 27000)


def test_a_claim_without_a_sample_has_no_limits() -> None:
    priced = estimate(claim({"panel": "roof", "tally": {"dime": 7}}))
    assert priced.limits is None
    assert "sampled_totals" not in sheet(priced)["evidence"]


def test_an_upper_limit_beyond_the_matrix_has_no_price() -> None:
    made = big_matrix()
    made["grid"][0]["last"] = 153
    priced = estimate(claim(sampled(square(dime=4))), made)
    assert priced.limits is not None
    assert priced.limits[1].panels == {"hood": None}
    assert not priced.limits[1].totals.complete
    assert priced.totals.complete


def test_a_sampled_panel_with_an_agreed_price_costs_that_at_every_limit() -> None:
    priced = estimate(claim(sampled(square(dime=4), agreed="500.00")), big_matrix())
    assert priced.limits is not None
    assert [limit.panels["hood"] for limit in priced.limits] == [50000, 50000]


def test_a_sampled_panel_has_no_near_edge_since_it_has_limits() -> None:
    # 60 dimes stand at the foot of the band from 60.
    assert estimate(claim(sampled(square(dime=4))), big_matrix()).near_edges == ()
    counted = {"panel": "hood", "tally": {"dime": 60}}
    assert estimate(claim(counted), big_matrix()).near_edges != ()


# --- the sheet --------------------------------------------------------------------------------


def test_the_evidence_of_a_sample_carries_every_figure() -> None:
    document = sheet(
        estimate(
            claim(sampled(square(dime=1, nickel=1), square(dime=2), oversize=[{"mm": 41.5}])),
            big_matrix(),
        )
    )
    (counted,) = document["evidence"]["counts"]
    sample = counted.pop("sample")
    assert counted == {
        "panel": "hood",
        "method": "sample squares",
        "dents": 31,
        "band": [30, 59],
        "largest_mm": 41.5,
        "outline": "the shop's own",
        "marked": {},
    }
    because = sample.pop("because")
    assert "Garwood" in because
    assert sample == {
        "squares": 2,
        "side_mm": 200,
        "counted": 4,
        "per_square": [2, 2],
        "area_cm2": 6000,
        "tally": {"dime": 23, "nickel": 7},
        "estimate": 30,
        # 1.08 and 10.25, × 7.5: 8.1 down to 8, 76.875 up to 77.
        "interval": [8, 77],
        "level_percent": 95,
        "method": "Poisson",
        "counted_limits": ["1.08", "10.25"],
        "dispersion": "0.00",
        "price": sample["price"],
    }
    lower, middle, upper = (Fraction(sample["price"][k]) for k in ("lower", "estimate", "upper"))
    assert lower < middle < upper
    assert middle == Fraction(document["totals"]["subtotal"])
    assert document["evidence"]["sampled_totals"]["lower"]["total"] == sample["price"]["lower"]
    assert document["evidence"]["sampled_totals"]["upper"]["total"] == sample["price"]["upper"]


def test_the_scaling_on_a_sheet_can_be_worked_out_from_its_own_figures() -> None:
    document = sheet(estimate(claim(sampled(square(dime=3), square(dime=1))), big_matrix()))
    sample = document["evidence"]["counts"][0]["sample"]
    factor = Fraction(sample["area_cm2"] * 100, sample["squares"] * sample["side_mm"] ** 2)
    assert sample["counted"] == sum(sample["per_square"])
    assert sample["estimate"] == floor(sample["counted"] * factor + Fraction(1, 2))
    assert sum(sample["tally"].values()) == sample["estimate"]
    low, high = (Fraction(text) for text in sample["counted_limits"])
    assert sample["interval"] == [max(sample["counted"], floor(low * factor)), ceil(high * factor)]


def test_the_line_of_a_sampled_panel_says_that_it_is_an_estimate() -> None:
    document = sheet(estimate(claim(sampled(square(dime=4))), big_matrix()))
    assert document["lines"][0]["because"]["words"].startswith("sampled, about 60 dents")


def test_one_square_has_no_dispersion() -> None:
    document = sheet(estimate(claim(sampled(square(dime=4))), big_matrix()))
    assert document["evidence"]["counts"][0]["sample"]["dispersion"] is None


def test_a_sheet_with_a_sample_verifies_and_a_forged_figure_is_found() -> None:
    panel = sampled(
        square(dime=4, nickel=1, marked={"edge": {"dime": 1}}, at=[0, 0]),
        square(dime=3, at=[200.5, 0]),
        oversize=[{"mm": 41}],
    )
    document = sheet(estimate(claim(panel), big_matrix(sample_from=40)))
    assert verify_sheet(document) == []
    sample = document["evidence"]["counts"][0]["sample"]
    for key in sample:
        true, sample[key] = sample[key], "forged"
        places = [difference.where for difference in verify_sheet(document)]
        assert f"evidence.counts[0].sample.{key}" in places
        sample[key] = true
    assert verify_sheet(document) == []
