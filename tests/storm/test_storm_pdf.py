"""The comparison on paper: its answer, every storm's figures, nothing cut or overlapping."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from functools import cache
from io import BytesIO

import pytest
from pypdf import PdfReader

from hailcalc.problems import InputError
from hailcalc.sheet.layout import Flow, TextMark
from hailcalc.storm.compare import MEASURES, Comparison, Measure, compare
from hailcalc.storm.pdf import comparison_pdf, composed
from hailcalc.storm.report import WHAT_IT_IS, comparison_json
from tests.storm.drawn import (
    NAMES,
    UNBROKEN,
    at_a_loss,
    figures,
    overlapping,
    places,
    renamed,
    three,
    with_long_names,
)


@cache
def pages(paper: str = "letter") -> tuple[str, ...]:
    """The text of each page of the comparison of the invented storms."""
    reader = PdfReader(BytesIO(comparison_pdf(three(), paper)))
    return tuple(plain(page.extract_text()) for page in reader.pages)


def plain(text: str) -> str:
    """Text on one line with plain blanks, figures as JSON writes them."""
    return " ".join(text.replace("\u00a0", " ").split()).replace(",", "")


def words_of(flow: Flow) -> list[str]:
    """What stands on the pages, mark by mark."""
    return [mark.text for page in flow.pages for mark in page if isinstance(mark, TextMark)]


def only(name: str) -> Comparison:
    return compare([figures(name)], resamples=100)


def many() -> Comparison:
    found = [renamed(figures(NAMES[at % 3]), f"storm-{at}", f"Storm number {at}") for at in
             range(14)]  # fmt: skip
    return compare(found, resamples=50)


def long_names() -> Comparison:
    found = [with_long_names(figures(name)) for name in NAMES]
    found[1] = renamed(found[1], "drovermoor-june", UNBROKEN)
    return compare(found, resamples=50)


def losses() -> Comparison:
    return compare([at_a_loss(figures(name)) for name in NAMES], "share", resamples=50)


def in_yen() -> Comparison:
    """The same storms in a currency without decimals, whose sums have the more digits."""
    found = []
    for name in NAMES:
        storm = figures(name).storm
        header = storm.storm.model_copy(update={"currency": "JPY"})
        yen = storm.model_copy(update={"storm": header})
        found.append(figures(name)._replace(storm=yen))
    return compare(found, "per-vehicle", resamples=50)


AWKWARD: list[Callable[[], Comparison]] = [three, many, long_names, losses, in_yen]


@pytest.mark.parametrize("paper", ["letter", "a4"])
@pytest.mark.parametrize("made", AWKWARD)
def test_no_text_overlaps_another_or_leaves_the_page(
    made: Callable[[], Comparison], paper: str
) -> None:
    flow = composed(made(), paper)
    for number, marks in enumerate(flow.pages, 1):
        texts = places(marks)
        outside = [
            text.text
            for text in texts
            if text.left < flow.left - 0.5
            or text.right > flow.right + 0.5
            or text.foot < flow.bottom - 2
            or text.head > flow.height - flow.top + 2
        ]
        assert not outside, number
        assert not list(overlapping(texts)), number
        assert texts, f"page {number} is empty"


@pytest.mark.parametrize("paper", ["letter", "a4"])
def test_the_invented_storms_take_a_page_two_a_storm_and_a_page_of_method(paper: str) -> None:
    found = pages(paper)
    assert len(found) == 1 + 2 * len(NAMES) + 1
    assert found[0].startswith("Which storm made money")
    assert found[-1].startswith("What these figures mean")


def test_the_first_page_says_which_storm_made_most_with_limits_and_chance() -> None:
    ranking = comparison_json(three())["ranking"]
    margin = ranking[0]["measures"]["margin"]
    first = three().storms[0].figures.storm.storm.title.replace(",", "")
    limits = f"90 times in 100 between USD {margin['low']} and USD {margin['high']}."
    assert f"By margin {first} comes first: USD {margin['value']} and {limits}" in pages()[0]
    chance = three().chances[0][1]
    assert chance is not None
    assert f"Chance that the first beats it: {round(100 * chance)} %." in pages()[0]


def test_the_first_page_says_who_comes_first_by_other_measures() -> None:
    assert "Tansywick 7 July 2026 comes first by margin a vehicle" in pages()[0]
    assert "Drovermoor 21 June 2026 comes first by revenue" in pages()[0]


def test_each_storm_has_its_margin_and_every_line_as_the_json_has_them() -> None:
    document = comparison_json(three())
    for at, storm in enumerate(document["storms"]):
        first, second = pages()[1 + 2 * at], pages()[2 + 2 * at]
        assert storm["title"].replace(",", "") in first
        for part in ("margin", "revenue_total", "cost_total"):
            assert storm[part] in first
        for part in ("revenue", "direct_costs", "fixed_costs"):
            for amount in storm[part].values():
                assert amount in first
        for wait in storm["waits"]:
            assert f"mean {wait['mean_days']} median {wait['median_days']}" in first
        assert f"{storm['supplements']['number']} asked for USD" in second
        for rows in storm["splits"].values():
            for row in rows:
                assert row["revenue"] in second
                assert row.get("direct_margin", "") in second


def test_the_last_page_says_what_limits_mean_and_do_not_know() -> None:
    last = pages()[-1]
    for words in (
        "drawn again with replacement 400 times",
        "middle 90 of 100",
        "What the limits do not know: more or fewer vehicles another hail another crew",
        "Estimators the lot travel lodging and pay by the day",
        "All sums are in USD; nothing was converted.",
        "seed is fixed",
    ):
        assert words in last
    for page in (pages()[0], last):
        assert WHAT_IT_IS.replace(",", "") in page


def test_storms_in_two_currencies_say_at_which_rates() -> None:
    euro = renamed(figures(NAMES[2]), NAMES[2], "Tansywick")
    header = euro.storm.storm.model_copy(update={"currency": "EUR"})
    euro = euro._replace(storm=euro.storm.model_copy(update={"storm": header}))
    compared = compare([figures(NAMES[0]), euro], rates={"EUR": Fraction("1.085")}, resamples=50)
    flow = composed(compared)
    text = " ".join(words_of(flow)).replace("\u00a0", " ")
    assert "one EUR is 1.085 USD" in text
    assert "Margin, EUR" in text


def test_a_comparison_of_one_storm_is_a_report_on_it() -> None:
    text = plain(" ".join(words_of(composed(only(NAMES[0])))))
    assert text.startswith("What the storm made Margin of Saltmarsh 12 May 2026: USD")
    assert "Chance" not in text


@pytest.mark.parametrize("measure", MEASURES)
def test_every_measure_can_be_compared_by(measure: Measure) -> None:
    compared = compare([figures(name) for name in NAMES], measure, resamples=50)
    best = compared.storms[0].figures.storm.storm.title
    answer = " ".join(words_of(composed(compared))[:3])
    assert f"{best} comes first" in answer


def test_a_loss_is_told_as_a_negative_margin() -> None:
    text = " ".join(words_of(composed(losses())))
    margin = figures(NAMES[0]).margin - 8 * figures(NAMES[0]).fixed_total
    assert margin < 0
    assert f"-{-margin // 100:,}." in text
    assert "Loss" in text


def test_sums_of_a_currency_without_decimals_have_none() -> None:
    text = " ".join(words_of(composed(in_yen())))
    assert f"{figures(NAMES[0]).margin:,}" in text
    assert "Margin, JPY" in text


def test_the_same_comparison_gives_the_same_bytes() -> None:
    assert comparison_pdf(three()) == comparison_pdf(three())
    assert comparison_pdf(three()) != comparison_pdf(three(), "a4")


def test_a_title_that_the_fonts_lack_is_refused_with_its_place() -> None:
    found = renamed(figures(NAMES[0]), NAMES[0], "雹 2026")
    with pytest.raises(InputError, match=r"storm.toml: storm.title: found 雹"):
        comparison_pdf(compare([found], resamples=10))
