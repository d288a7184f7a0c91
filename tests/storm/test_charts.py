"""Charts of storms: every label and value is there as text, and shapes lie where figures say."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from itertools import pairwise
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hailcalc.money import money_text
from hailcalc.sheet.layout import BoxMark, CircleMark, RuleMark, TextMark
from hailcalc.storm.charts import (
    Chart,
    chances_chart,
    measure_chart,
    measures_chart,
    money_chart,
    svg,
    svg_files,
    waits_chart,
    waterfall_chart,
)
from hailcalc.storm.compare import MEASURES, Measured, compare
from hailcalc.storm.economics import Amount, StormFigures, Wait
from hailcalc.storm.report import chance_text
from tests.effort import examples
from tests.storm.drawn import (
    LONG,
    NAMES,
    at_a_loss,
    figures,
    overlapping,
    places,
    renamed,
    three,
    with_long_names,
)

WIDTH = 528.0
NS = {"svg": "http://www.w3.org/2000/svg"}


def texts(chart: Chart) -> list[str]:
    return [mark.text for mark in chart.marks if isinstance(mark, TextMark)]


def amount(value: int, decimals: int = 2) -> str:
    """An amount with thousands apart."""
    whole, _, rest = money_text(abs(value), decimals).partition(".")
    return f"{'-' if value < 0 else ''}{int(whole):,}{'.' if rest else ''}{rest}"


def bars(chart: Chart) -> list[BoxMark]:
    """Boxes with a border, top down: grid lines have none."""
    found = [mark for mark in chart.marks if isinstance(mark, BoxMark) and mark.stroke is not None]
    return sorted(found, key=lambda box: -box.y)


def every_chart() -> Iterator[Chart]:
    yield measures_chart(three(), WIDTH)
    yield chances_chart(three(), WIDTH)
    yield waits_chart([each.figures for each in three().storms], WIDTH)
    for each in three().storms:
        yield waterfall_chart(each.figures, WIDTH)
        yield money_chart(each.figures, WIDTH)
        yield waits_chart([each.figures], WIDTH)


def awkward_charts() -> Iterator[Chart]:
    found = [at_a_loss(with_long_names(figures(name))) for name in NAMES]
    compared = compare(found, resamples=20)
    for width in (300.0, WIDTH):
        yield measures_chart(compared, width)
        yield chances_chart(compared, width)
        yield waits_chart(found, 440)
        yield from (waterfall_chart(each, width) for each in found)
        yield from (money_chart(each, 440) for each in found)


@pytest.mark.parametrize("measure", MEASURES)
def test_a_measure_shows_every_storm_its_value_and_its_limits(measure: str) -> None:
    chart = measure_chart(three(), measure, WIDTH)  # type: ignore[arg-type]
    found = texts(chart)
    for each in three().storms:
        value, low, high = each.measures[measure]  # type: ignore[index]
        assert value is not None
        assert low is not None
        assert high is not None
        assert each.figures.storm.storm.title in found
        assert amount(value) in found
        assert f"{amount(low)} to {amount(high)}" in found


def test_dots_lie_as_far_apart_as_their_values() -> None:
    chart = measure_chart(three(), "margin", WIDTH)
    dots = [mark.x for mark in chart.marks if isinstance(mark, CircleMark)]
    values = [each.figures.margin for each in three().storms]
    (a, b, c), (x, y, z) = values, dots
    assert (x - y) / (x - z) == pytest.approx((a - b) / (a - c))


def test_a_line_reaches_from_limit_to_limit_on_both_sides_of_its_dot() -> None:
    chart = measure_chart(three(), "margin", WIDTH)
    dots = [mark for mark in chart.marks if isinstance(mark, CircleMark)]
    lines = [
        mark
        for mark in chart.marks
        if isinstance(mark, RuleMark) and mark.width > 1.2 and mark.y == mark.y2
    ]
    assert len(dots) == len(lines) == 3
    for dot, line in zip(dots, lines, strict=True):
        assert line.x < dot.x < line.x2
        assert line.y == dot.y


def test_a_storm_without_a_figure_says_so_and_has_no_dot() -> None:
    first, *rest = three().storms
    none = first._replace(measures=first.measures | {"share": Measured(None, None, None)})
    chart = measure_chart(three()._replace(storms=(none, *rest)), "share", WIDTH)
    assert "no figure" in texts(chart)
    assert sum(isinstance(mark, CircleMark) for mark in chart.marks) == 2


@pytest.mark.parametrize("name", NAMES)
def test_a_waterfall_has_every_kind_of_money_with_its_amount(name: str) -> None:
    found = texts(waterfall_chart(figures(name), WIDTH))
    for each in (*figures(name).direct_costs, *figures(name).fixed_costs):
        assert each.label in found
        assert amount(-each.amount) in found
    assert amount(figures(name).margin) in found
    assert amount(figures(name).revenue_total) in found


@pytest.mark.parametrize("storm", [*map(figures, NAMES), *(at_a_loss(figures(n)) for n in NAMES)])
def test_each_bar_of_a_waterfall_begins_where_the_one_before_ended(storm: StormFigures) -> None:
    chart = waterfall_chart(storm, WIDTH)
    legend = 3
    steps = bars(chart)[legend:]
    whole, *taken_off = steps[: 1 + sum(each.amount < 0 for each in storm.revenue)]
    assert taken_off
    costs = steps[len(taken_off) + 2 : -1]
    assert len(costs) == len(storm.direct_costs) + len(storm.fixed_costs)
    for upper, lower in pairwise([whole, *taken_off]):
        assert lower.x + lower.width == pytest.approx(
            upper.x + upper.width if upper is whole else upper.x, abs=0.41
        )
    for upper, lower in pairwise(costs):
        assert lower.x + lower.width == pytest.approx(upper.x, abs=0.41)
    scale = whole.width / sum(each.amount for each in storm.revenue if each.amount > 0)
    for box, cost in zip(costs, (*storm.direct_costs, *storm.fixed_costs), strict=True):
        assert box.width == pytest.approx(max(cost.amount * scale, 0.4))
    assert steps[-1].width == pytest.approx(abs(storm.margin) * scale)


@pytest.mark.parametrize("storm", [*map(figures, NAMES), *(at_a_loss(figures(n)) for n in NAMES)])
def test_both_stacks_come_to_the_same_and_have_every_kind_as_tall_as_its_part(
    storm: StormFigures,
) -> None:
    chart = money_chart(storm, WIDTH, 200)
    left = [box for box in bars(chart) if box.x < WIDTH / 4]
    right = [box for box in bars(chart) if box.x > WIDTH / 4]
    for stack in (left, right):
        assert sum(box.height for box in stack) == pytest.approx(200)
    charged = sum(each.amount for each in storm.revenue if each.amount > 0) + max(0, -storm.margin)
    found = texts(chart)
    assert sum(amount(charged) in text for text in found) >= 2
    for each in (*storm.revenue, *storm.direct_costs, *storm.fixed_costs):
        assert each.label in found
        assert amount(abs(each.amount)) in found
        parts = [box.height for box in (*left, *right)]
        assert any(part == pytest.approx(200 * abs(each.amount) / charged) for part in parts)


@pytest.mark.parametrize("name", NAMES)
def test_neighbours_in_a_stack_differ_in_lightness_not_in_colour(name: str) -> None:
    for stack in _stacks(money_chart(figures(name), WIDTH)):
        for upper, lower in pairwise(stack):
            assert upper.fill is not None
            assert lower.fill is not None
            assert abs(upper.fill - lower.fill) >= 0.2 or lower.fill == 1.0


def _stacks(chart: Chart) -> Sequence[list[BoxMark]]:
    return [[box for box in bars(chart) if box.x == x] for x in (0.0, WIDTH / 2)]


def test_the_margin_is_hatched_so_that_it_stands_out_in_grey() -> None:
    chart = money_chart(figures(NAMES[0]), WIDTH)
    margin = _stacks(chart)[1][-1]
    assert margin.fill == 1.0
    slanting = [mark for mark in chart.marks if isinstance(mark, RuleMark) and mark.x != mark.x2]
    assert len(slanting) > 10
    for line in slanting:
        assert margin.x - 0.01 <= min(line.x, line.x2)
        assert max(line.x, line.x2) <= margin.x + margin.width + 0.01
        assert margin.y - 0.01 <= min(line.y, line.y2)
        assert max(line.y, line.y2) <= margin.y + margin.height + 0.01


def test_a_storm_without_money_says_so() -> None:
    none = figures(NAMES[0])._replace(revenue=(), direct_costs=(), fixed_costs=())
    assert texts(money_chart(none, WIDTH)).count("No money") == 2
    assert "0.00" in texts(waterfall_chart(none, WIDTH))


def test_waits_show_mean_median_and_who_waits_still() -> None:
    waits = (
        Wait("draft", 12, 15, 20, 0, None),
        Wait("issued", 9, 162, 150, 3, 41),
        Wait("answered", 0, None, None, 1, 1),
    )
    found = texts(waits_chart([figures(NAMES[0])._replace(waits=waits)], WIDTH))
    assert "mean 1.5, median 2.0; none there still" in found
    assert "mean 16.2, median 15.0; 3 there still, for up to 41 days" in found
    assert "none has left it; 1 there still, for up to 1 day" in found


def test_waits_of_several_storms_stand_under_their_state() -> None:
    found = texts(waits_chart([figures(name) for name in NAMES], WIDTH))
    titles = [figures(name).storm.storm.title for name in NAMES]
    at = found.index("Issued")
    assert [text for text in found[at + 1 :] if text in titles][:3] == titles


def test_chances_are_printed_and_the_darker_the_higher() -> None:
    chart = chances_chart(three(), WIDTH)
    cells = sorted((box for box in bars(chart)), key=lambda box: (-box.y, box.x))
    chances = [chance for row in three().chances for chance in row]
    assert len(cells) == len(chances) == 9
    for chance in chances:
        if chance is not None:
            assert chance_text(chance) in texts(chart)
    shaded = sorted(
        (chance, -(cell.fill or 0))
        for chance, cell in zip(chances, cells, strict=True)
        if chance is not None
    )
    assert [fill for _, fill in shaded] == sorted(fill for _, fill in shaded)


@pytest.mark.parametrize("charts", [every_chart, awkward_charts])
def test_no_text_of_a_chart_overlaps_another_or_leaves_it(charts: object) -> None:
    assert callable(charts)
    for chart in charts():
        found = places(chart.marks)
        assert not list(overlapping(found)), chart.name
        for place in found:
            assert place.left >= -0.5, (chart.name, place)
            assert place.right <= chart.width + 0.5, (chart.name, place)
            assert place.foot >= -2, (chart.name, place)
            assert place.head <= chart.height + 2, (chart.name, place)


@settings(max_examples=examples(60))
@given(st.lists(st.integers(-(10**12), 10**12), min_size=1, max_size=9), st.booleans())
def test_whatever_the_amounts_bars_and_dots_stay_within_the_chart(
    amounts: list[int], fixed: bool
) -> None:
    costs = tuple(Amount(f"cost{at}", f"Cost {at}", each) for at, each in enumerate(amounts))
    storm = figures(NAMES[0])._replace(
        direct_costs=() if fixed else costs, fixed_costs=costs if fixed else ()
    )
    chart = waterfall_chart(storm, WIDTH)
    for box in bars(chart):
        assert box.x >= -0.01
        assert box.x + box.width <= WIDTH + 0.01
    assert not list(overlapping(places(chart.marks)))


def test_a_comparison_gives_its_charts_as_svg_files() -> None:
    files = svg_files(three())
    assert set(files) == {
        "measure-margin.svg",
        "measures.svg",
        "waits.svg",
        "chances.svg",
        *(f"{name}-{kind}.svg" for name in NAMES for kind in ("waterfall", "money")),
    }
    assert files == svg_files(three())


def test_one_storm_has_no_chances_against_itself() -> None:
    assert "chances.svg" not in svg_files(compare([figures(NAMES[0])], resamples=10))


@pytest.mark.parametrize("name", sorted(svg_files(three())))
def test_an_svg_is_an_image_with_a_title_and_words_for_who_does_not_see_it(name: str) -> None:
    root = ElementTree.fromstring(svg_files(three())[name])
    assert root.tag == f"{{{NS['svg']}}}svg"
    assert root.get("role") == "img"
    title, words = root.find("svg:title", NS), root.find("svg:desc", NS)
    assert title is not None
    assert words is not None
    assert root.get("aria-labelledby") == f"{title.get('id')} {words.get('id')}"
    assert title.text
    assert words.text
    shown = {element.text for element in root.iterfind(".//svg:text", NS)}
    # Every figure with cents that is drawn can be heard too.
    for text in shown:
        for figure in re.findall(r"-?[\d,]+\.\d\d", text or ""):
            assert figure in words.text


def test_an_svg_holds_every_text_of_its_chart_and_only_greys() -> None:
    for chart in every_chart():
        root = ElementTree.fromstring(svg(chart))
        shown = [element.text for element in root.iterfind(".//svg:text", NS)]
        assert shown == [*texts(chart), chart.title]
        for colour in re.findall(r"#[0-9a-f]+", svg(chart)):
            assert colour == "#fff" or colour[1:3] == colour[3:5] == colour[5:7]


def test_names_are_escaped_in_an_svg() -> None:
    named = renamed(figures(NAMES[0]), NAMES[0], '<script>alert("&")</script>')
    for data in svg_files(compare([named], resamples=10)).values():
        text = data.decode()
        assert "<script" not in text
        ElementTree.fromstring(text)


def test_a_long_name_is_wrapped_and_not_cut() -> None:
    compared = compare([with_long_names(figures(NAMES[0]))], resamples=10)
    found = " ".join(texts(measure_chart(compared, "margin", WIDTH)))
    assert LONG.strip() in found
