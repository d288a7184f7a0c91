"""Storms side by side: the ranking, the limits, the chances, currencies, and the break-even."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hailcalc.problems import InputError
from hailcalc.storm.compare import (
    MEASURES,
    BreakEven,
    Comparison,
    Measure,
    Ranked,
    compare,
    drawn_places,
    interval,
)
from hailcalc.storm.economics import StormFigures, economics
from hailcalc.storm.report import (
    chance_text,
    comparison_json,
    comparison_notes,
    comparison_text,
)
from tests.storm.invented import Table, random_book, storm, vehicles


def made(name: str, *repairs: int, **tables: Table) -> StormFigures:
    """A storm whose vehicles bring so much repair each, an hour of it for every 100.00."""
    header = {"name": name} | tables.pop("storm", {})
    currency = header.get("currency", "USD")
    rows = [
        {"repair": amount, "repair_minutes": amount * 600 // 10_000, "currency": currency}
        for amount in repairs
    ]
    return economics(storm(storm=header, **tables), vehicles(*rows))


def named(comparison: Comparison, name: str) -> Ranked:
    return next(each for each in comparison.storms if each.figures.storm.storm.name == name)


def names(comparison: Comparison) -> list[str]:
    return [each.figures.storm.storm.name for each in comparison.storms]


def test_storms_stand_in_the_order_of_the_measure() -> None:
    many = made("many-small", *[10_000, 12_000] * 20)
    few = made("few-large", *[60_000, 50_000] * 3)
    assert names(compare([few, many], "margin")) == ["many-small", "few-large"]
    assert names(compare([few, many], "per-vehicle")) == ["few-large", "many-small"]


def test_limits_are_draws_on_both_sides_of_the_value() -> None:
    of = made("one", *range(10_000, 40_000, 1_000))
    for name, found in compare([of]).storms[0].measures.items():
        assert found.value is not None
        assert found.low is not None
        assert found.high is not None
        assert found.low <= found.value <= found.high, name


def test_vehicles_that_are_all_alike_leave_no_doubt() -> None:
    found = compare([made("alike", *[20_000] * 12, costs={"other": "100.00"})]).storms[0]
    margin = found.measures["margin"]
    assert (margin.value, margin.low, margin.high) == (110_000, 110_000, 110_000)
    assert found.break_even == BreakEven(1, 1, 1)


def test_a_wider_level_has_wider_limits() -> None:
    of = made("one", *range(10_000, 40_000, 1_000))
    narrow, wide = (compare([of], level=level).storms[0].measures["margin"] for level in (50, 95))
    assert narrow.low is not None
    assert wide.low is not None
    assert narrow.high is not None
    assert wide.high is not None
    assert wide.low < narrow.low <= narrow.high < wide.high


def test_fixed_costs_move_the_limits_and_leave_their_width() -> None:
    amounts = range(10_000, 40_000, 1_000)
    without, with_costs = (
        compare([made("one", *amounts, costs={"other": text})]).storms[0].measures["margin"]
        for text in ("0", "1000.00")
    )
    assert [
        before - after
        for before, after in zip(without, with_costs, strict=True)
        if before is not None and after is not None
    ] == [100_000] * 3


def test_the_same_books_give_the_same_figures_whoever_stands_beside() -> None:
    book, panels = random_book(80, 1)
    one = economics(storm(), book, panels)
    other = made("other", 20_000, 30_000)
    assert compare([one]).storms[0].measures == named(compare([other, one]), "small-hail").measures


def test_chances_of_a_pair_make_up_a_whole() -> None:
    storms = [
        economics(storm(storm={"name": f"hail-{seed}"}), *random_book(40, seed))
        for seed in range(3)
    ]
    found = compare(storms).chances
    for one in range(3):
        assert found[one][one] is None
        for other in range(3):
            if one != other:
                chance, back = found[one][other], found[other][one]
                assert chance is not None
                assert back is not None
                assert chance + back == 1


def test_a_storm_that_is_better_in_every_vehicle_is_surely_better() -> None:
    better, worse = made("better", *[30_000, 31_000] * 3), made("worse", *[10_000, 12_000] * 3)
    found = compare([better, worse])
    assert found.chances[0][1] == 1
    assert (chance_text(Fraction(1)), chance_text(Fraction(0))) == ("over 99 %", "under 1 %")
    assert (chance_text(Fraction(77, 100)), chance_text(Fraction(1, 2))) == ("77 %", "50 %")


def test_two_storms_alike_are_even() -> None:
    found = compare([made("one", *[20_000] * 5), made("other", *[20_000] * 5)])
    assert found.chances[0][1] == Fraction(1, 2)


# --- exactness ---------------------------------------------------------------------------------


@given(st.lists(st.integers(-(10**12), 10**12), min_size=1, max_size=60), st.integers(1, 99))
def test_limits_are_values_with_as_many_cut_on_either_side(values: list[int], level: int) -> None:
    low, high = interval(np.array(values, np.int64), level)
    cut = len(values) * (100 - level) // 200
    assert (low, high) == (sorted(values)[cut], sorted(values, reverse=True)[cut])


@pytest.mark.parametrize("name", MEASURES)
def test_limits_are_those_of_resamples_worked_out_one_by_one(name: Measure) -> None:
    book, panels = random_book(60, 5)
    of = economics(storm(costs={"other": "123.45", "lead": "3.33"}), book, panels)
    resamples, level = 400, 90
    draws = np.concatenate(drawn_places("small-hail", 60, resamples)).tolist()
    revenue, contribution, tenths = (
        column.tolist() for column in (of.sample.revenue, of.sample.contribution,
                                       of.sample.repair_tenths)
    )  # fmt: skip
    values = []
    for places in draws:
        brought = sum(revenue[at] for at in places)
        margin = sum(contribution[at] for at in places) - of.fixed_total
        values.append(
            {
                "margin": Fraction(margin),
                "revenue": Fraction(brought),
                "share": Fraction(10_000 * margin, brought),
                "per-vehicle": Fraction(margin, 60),
                "per-technician-day": Fraction(margin, 40),
                "per-repair-hour": Fraction(margin * 600, sum(tenths[at] for at in places)),
            }[name]
        )
    values.sort()
    found = compare([of], level=level, resamples=resamples).storms[0].measures[name]
    for limit, exact in ((found.low, values[20]), (found.high, values[379])):
        assert limit is not None
        assert abs(limit - exact) <= Fraction(1, 2)


def test_draws_are_with_replacement_and_even() -> None:
    places = np.concatenate(drawn_places("one", 50, 4_000))
    assert places.shape == (4_000, 50)
    assert (places.min(), places.max()) == (0, 49)
    counts = np.bincount(places.ravel(), minlength=50)
    # 200,000 draws: 4,000 for each, give or take 5 standard deviations of 62.6.
    assert (abs(counts - 4_000) < 313).all()
    distinct = np.mean([len(set(row)) for row in places.tolist()])
    # With replacement 50 (1 - 0.98^50) = 31.79 different vehicles on average.
    assert abs(distinct - 31.79) < 0.3


# --- currencies --------------------------------------------------------------------------------


def test_two_currencies_need_a_rate() -> None:
    with pytest.raises(InputError, match=r"found EUR beside USD, expected .*--rate EUR="):
        compare([made("here", 10_000), made("there", 10_000, **_in("EUR"))])


def test_a_rate_is_exact_and_turns_the_ranking() -> None:
    here, there = made("here", *[20_000] * 4), made("there", *[19_000] * 4, **_in("EUR"))
    found = compare([here, there], rates={"EUR": Fraction("1.0850")})
    assert names(found) == ["there", "here"]
    assert found.currency == "USD"
    euros = named(found, "there")
    assert euros.measures["margin"].value == 41_230  # 4 x 95.00 EUR x 1.0850
    assert euros.figures.margin == 38_000
    assert euros.measures["share"].value == named(found, "here").measures["share"].value == 5_000


def test_currencies_may_differ_in_their_decimals() -> None:
    yen = made("far", *[20_000] * 4, **_in("JPY"))
    found = compare([made("here", 10_000), yen], rates={"JPY": Fraction("0.0065")})
    assert named(found, "far").measures["margin"].value == 26_000  # 40,000 JPY x 0.0065 = 260.00


def _in(currency: str) -> dict[str, Table]:
    return {"storm": {"currency": currency}}


@settings(max_examples=25, deadline=None)
@given(
    st.integers(1, 10**9).map(lambda n: Fraction(n, 10**9)),
    st.lists(st.integers(0, 10**8), min_size=1, max_size=5),
)
def test_any_rate_that_may_be_given_is_exact(rate: Fraction, repairs: list[int]) -> None:
    there = made("there", *repairs, **_in("EUR"))
    found = named(
        compare([made("here", 10_000), there], rates={"EUR": rate}, resamples=100), "there"
    )
    value = found.measures["margin"].value
    assert value is not None
    assert abs(value - there.margin * rate) <= Fraction(1, 2)
    hours = Fraction(there.repair_tenths, 600)
    an_hour = found.measures["per-repair-hour"].value
    if hours:
        assert an_hour is not None
        assert abs(an_hour - there.margin * rate / hours) <= Fraction(1, 2)


def test_a_rate_of_many_decimals_is_exact_for_large_sums() -> None:
    there = made("there", *[4_000_000] * 300, **_in("EUR"))
    rate = Fraction("1.085000001")
    found = named(compare([made("here", 10_000), there], rates={"EUR": rate}), "there").measures
    assert found["per-repair-hour"].value == 5_425  # 50.00 EUR an hour
    assert found["margin"].value == 651_000_001


# --- what cannot be compared, and the break-even -----------------------------------------------


def test_a_storm_without_vehicles_or_twice_the_same_is_refused() -> None:
    one = made("one", 10_000)
    with pytest.raises(InputError, match="a storm without vehicles"):
        compare([one, made("none")])
    with pytest.raises(InputError, match="the storm 2 times"):
        compare([one, one])


def test_a_measure_without_a_divisor_has_no_value_and_stands_last() -> None:
    tyres = economics(storm(storm={"name": "no-repair"}), vehicles({"part": 9_000}))
    found = compare([tyres, made("one", 100)], "per-repair-hour")
    assert names(found) == ["one", "no-repair"]
    assert found.storms[1].measures["per-repair-hour"].value is None
    assert found.chances[0][1] is None


def test_break_even_is_fixed_costs_over_what_a_vehicle_adds_rounded_up() -> None:
    of = made("one", *[20_000] * 10, costs={"other": "250.01"})
    assert compare([of]).storms[0].break_even.vehicles == 3  # each adds 100.00
    of = made("one", *[20_000] * 10, costs={"other": "200.00"})
    assert compare([of]).storms[0].break_even.vehicles == 2


def test_vehicles_that_add_nothing_never_pay_the_fixed_costs() -> None:
    of = made("loss", *[20_000] * 4, costs={"other": "100.00", "lead": "100.00"})
    assert compare([of]).storms[0].break_even == BreakEven(None, None, None)


def test_a_break_even_that_some_draws_never_reach_has_no_upper_limit() -> None:
    of = made("doubtful", *[0, 0, 100_000] * 2, costs={"other": "100.00", "lead": "100.00"})
    found = compare([of]).storms[0].break_even
    assert found.vehicles == 2  # 150.00 a vehicle, of which the lead takes 100.00 off 166.67
    assert found.high is None


def test_a_storm_without_fixed_costs_needs_no_vehicle() -> None:
    assert compare([made("one", *[10_000] * 5)]).storms[0].break_even == BreakEven(0, 0, 0)


def test_vehicles_too_few_have_a_value_but_neither_limits_nor_chances() -> None:
    few, many = made("few", *range(10_000, 14_000, 1_000)), made("many", *[9_000] * 40)
    found = compare([few, many])
    for measure in named(found, "few").measures.values():
        assert measure.value is not None
        assert (measure.low, measure.high) == (None, None)
    assert named(found, "few").break_even == BreakEven(0, None, None)
    assert named(found, "many").measures["margin"].low is not None
    assert found.chances == ((None, None), (None, None))
    assert comparison_notes(found) == [
        "A small hail: 4 vehicles, too few for limits and chances, which need 5."
    ]
    assert [line.split()[-2:] for line in comparison_text(found).splitlines()[3:6]] == [
        ["Lower", "Upper"], ["1,800.00", "1,800.00"], ["-", "-"]
    ]  # fmt: skip


def test_limits_of_few_vehicles_carry_a_caution() -> None:
    [note] = comparison_notes(compare([made("few", *[9_000] * 29), made("more", *[9_000] * 30)]))
    assert "29 vehicles; with so few the limits are narrower" in note


def test_vehicles_without_a_price_are_told_beside_the_ranking() -> None:
    rows = [{"repair": 10_000}] * 40
    of = economics(storm(), vehicles(*rows), aside=7)
    found = compare([of])
    [note] = comparison_notes(found)
    assert "7 of 47 vehicles could not be priced and are in no figure" in note
    assert note in " ".join(comparison_text(found).split("\n"))
    assert "40 of 47" in comparison_text(found)
    [entry] = comparison_json(found)["ranking"]
    assert (entry["vehicles"], entry["priced"], entry["aside"]) == (47, 40, 7)
