"""What the adjuster answers, and how the money stands after that: agreed, open, disputed.

Sheets are priced by the product and then read as anybody else reads them, through their text.
Tax that follows is held against decimal arithmetic of Python's own, whose ROUND_HALF_UP is "to
nearest with ties going away from zero" (docs.python.org, decimal, rounding modes).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import ROUND_HALF_UP, Decimal
from typing import Any

import pytest
from hypothesis import assume, given, reject, settings
from hypothesis import strategies as st

from hailcalc.claim.answers import (
    Given,
    LineAnswer,
    Standing,
    answer_problems,
    answers_json,
    carried,
    effective,
    read_answers,
    settlement,
    standing,
    with_others,
)
from hailcalc.fields import as_json
from hailcalc.money import currency_decimals, money_text
from hailcalc.problems import InputError, Problem
from hailcalc.reading import load_json
from hailcalc.sheet.document import digest, sheet_json, sheet_text
from tests.builders import DEMO, claim, demo_sheet, estimate, matrix, panel, removal_and_tax, sheet
from tests.effort import examples
from tests.strategies import priced_together

Table = dict[str, Any]
Draw = st.DrawFn

TAXED = {
    "labour": ["repair", "oversize", "extra", "removal", "refinish", "body", "minimum"],
    "parts": ["part", "fastener"],
    "sublet": ["sublet"],
}
"""Which lines each tax is on, written down once more."""

NO_PANEL = "No panel is damaged after all."


# --- sheets and answers to them ---------------------------------------------------------------


def issued(*panels: Table, under: Table | None = None, **more: Any) -> Table:
    return sheet(estimate(claim(*panels, **more), under))


def taxed(**rates: str) -> Table:
    """The small matrix with tax."""
    return matrix(tax=rates)


def on(line: int, answer: str, amount: str | None = None, reason: str | None = None) -> Table:
    """An answer as it is sent: with a reason where one is needed."""
    given: Table = {"line": line, "answer": answer}
    if amount is not None:
        given["amount"] = amount
    if reason is not None or answer != "accept":
        given["reason"] = reason or "Counted fewer dents."
    return given


def part(number: int, *answers: Table, carried_from: int | None = None) -> list[Given]:
    at = f"2026-06-{number:02}T09:00:00Z"
    return [
        Given(number, LineAnswer.model_validate(each), at, "Adjuster", carried_from)
        for each in answers
    ]


def after(document: Table, *answers: Table) -> Standing:
    return standing(document, effective(part(1, *answers)))


def sums(found: Standing) -> tuple[int, int, int]:
    return found.agreed, found.open, found.disputed


def refusals(document: Table, *answers: Table) -> list[Problem]:
    """What is wrong with well-formed answers to a sheet."""
    file = read_answers({"revision": 1, "answers": list(answers)})
    return list(answer_problems(file, document))


def mistakes(data: Any) -> list[tuple[str, str, str]]:
    """Place, found and expected of every mistake in an answer file."""
    with pytest.raises(InputError) as refused:
        read_answers(data)
    return [(each.place, each.found, each.expected) for each in refused.value.problems]


def units(text: str) -> int:
    """A printed sum without its point."""
    return int(text.replace(".", ""))


@st.composite
def issued_sheets(draw: Draw) -> Table:
    """The sheet of a random claim under a random matrix."""
    claim_data, matrix_data = draw(priced_together())
    try:
        priced = estimate(claim_data, matrix_data)
    except InputError:  # a panel without a method
        reject()
    return sheet(priced)


def possible_answers(document: Table, number: int) -> st.SearchStrategy[Table]:
    """Every answer that may be given to a line with a price."""
    text = document["lines"][number - 1]["amount"]
    amount, decimals = units(text), len(text.partition(".")[2])
    kinds = [st.just(on(number, "accept")), st.just(on(number, "decline"))]
    if amount > 1:
        offers = st.integers(1, amount - 1)
    elif amount < 0 and most_off(document) > 1:
        offers = st.integers(-most_off(document), -1).filter(lambda offer: offer != amount)
    else:
        return st.one_of(kinds)
    texts = offers.map(lambda offer: money_text(offer, decimals))
    return st.one_of(*kinds, texts.map(lambda text: on(number, "amount", text)))


def most_off(document: Table) -> int:
    """The charges of a sheet without tax, of which no discount can be more."""
    charged = [document["lines"][number - 1]["amount"] for number in untaxed_lines(document)]
    return sum(units(text) for text in charged if not text.startswith("-"))


def priced_lines(document: Table) -> list[int]:
    """Numbers of the lines that have a price."""
    return [n for n, line in enumerate(document["lines"], 1) if line["amount"] is not None]


def untaxed_lines(document: Table) -> list[int]:
    """Those of them that are no tax."""
    return [n for n in priced_lines(document) if document["lines"][n - 1]["kind"] != "tax"]


@st.composite
def some_answers(draw: Draw, document: Table, numbers: Sequence[int]) -> list[Table]:
    """Answers to some of these lines, in any order, perhaps twice to one."""
    if not numbers:
        return []
    chosen = draw(st.lists(st.sampled_from(numbers), max_size=2 * len(numbers)))
    return [draw(possible_answers(document, number)) for number in chosen]


# --- reading ----------------------------------------------------------------------------------


def test_answers_are_read_as_they_were_written() -> None:
    data = {"revision": 2, "answers": [on(1, "accept"), on(3, "amount", "84.50", "Two less.")]}
    assert as_json(read_answers(data)) == data


def test_an_answer_file_shows_all_its_mistakes_at_once() -> None:
    data = {
        "revision": 0,
        "answers": [
            {"line": 1, "answer": "amount", "reason": "Too many."},
            {"line": 2, "answer": "accept", "amount": "5.00"},
            {"line": 3, "answer": "decline", "reason": "  "},
            {"line": 4, "answer": "maybe"},
            {"line": "5", "answer": "accept"},
            {"line": 6, "answer": "amount", "amount": 12, "reason": "As agreed by telephone."},
        ],
    }
    assert sorted(place for place, _, _ in mistakes(data)) == [
        "answers[0].amount",
        "answers[1].amount",
        "answers[2].reason",
        "answers[3].answer",
        "answers[4].line",
        "answers[5].amount",
        "revision",
    ]


@pytest.mark.parametrize("answer", ["amount", "decline"])
def test_whatever_is_not_accepted_needs_a_reason(answer: str) -> None:
    given = {"line": 1, "answer": answer} | ({"amount": "1.00"} if answer == "amount" else {})
    (mistake,) = mistakes({"revision": 1, "answers": [given]})
    assert mistake[:2] == ("answers[0].reason", "no reason")


def test_at_least_one_answer_and_at_most_a_thousand() -> None:
    assert mistakes({"revision": 1, "answers": []})[0][2] == "answers, or others: accept"
    many = [on(line, "accept") for line in range(1, 1002)]
    assert mistakes({"revision": 1, "answers": many})[0][2] == "at most 1000 items"
    assert len(read_answers({"revision": 1, "answers": many[:1000]}).answers) == 1000


@pytest.mark.parametrize("data", [None, [], "accept", {"revision": 1}, {"answers": [3]}])
def test_what_is_no_answer_file_is_refused(data: Any) -> None:
    assert mistakes(data)


# --- answers that do not fit the sheet --------------------------------------------------------


def test_only_lines_of_the_sheet_are_answered_each_once() -> None:
    document = issued(panel("hood"))
    found = refusals(document, on(1, "accept"), on(1, "decline"), on(9, "accept"))
    assert [(each.place, each.found) for each in found] == [
        ("answers[1].line", "line 1 again, as in answers[0]"),
        ("answers[2].line", "line 9"),
    ]


def test_a_line_without_a_price_is_priced_by_a_supplement_not_by_an_answer() -> None:
    document = issued(panel("hood", tally={"dime": 99}))
    for answer in (on(1, "accept"), on(1, "decline"), on(1, "amount", "50.00")):
        (problem,) = refusals(document, answer)
        assert problem.found == "line 1, which has no price"


@pytest.mark.parametrize(
    ("amount", "expected"),
    [
        ("30.00", 'the answer "accept"'),
        ("30", 'the answer "accept"'),
        ("0.00", 'the answer "decline"'),
        ("30.01", "more than 0 and less than 30.00; a supplement charges more"),
        ("-5.00", "more than 0 and less than 30.00; a supplement charges more"),
        ("20.005", "at most 2 decimals, as the sheet has"),
    ],
)
def test_an_offer_lies_between_nothing_and_the_charge(amount: str, expected: str) -> None:
    document = issued(panel("hood"))
    assert document["lines"][0]["amount"] == "30.00"
    (problem,) = refusals(document, on(1, "amount", amount))
    assert (problem.place, problem.expected) == ("answers[0].amount", expected)


def test_an_offer_may_be_anything_between() -> None:
    for amount in ("29.99", "0.01", "15", "20.0000"):
        assert refusals(issued(panel("hood")), on(1, "amount", amount)) == []


def discounted(**more: Any) -> Table:
    """A repair of 30.00 with 10 % off: the discount is line 2."""
    extra = {"id": "fleet", "label": "Fleet", "of": "vehicle", "percent": "-10"}
    return issued(panel("hood"), under=matrix(extra=[extra]), **more)


@pytest.mark.parametrize(
    ("amount", "fits"),
    [
        ("-2.00", True),
        ("-4.00", True),
        ("-30.00", True),
        ("-30.01", False),
        ("-3.00", False),
        ("0.00", False),
        ("1.00", False),
    ],
)
def test_a_discount_may_be_smaller_or_larger_but_stays_one(amount: str, fits: bool) -> None:
    document = discounted()
    assert document["lines"][1]["amount"] == "-3.00"
    assert (refusals(document, on(2, "amount", amount)) == []) is fits


def test_a_larger_discount_is_disputed_money_of_the_shop() -> None:
    found = after(discounted(), on(1, "accept"), on(2, "amount", "-4.00"))
    assert sums(found) == (2600, 0, 100)


def test_a_line_of_nothing_is_accepted_or_declined() -> None:
    document = issued(panel("hood", agreed="0.00"))
    assert document["lines"][0]["amount"] == "0.00"
    assert refusals(document, on(1, "accept")) == []
    assert refusals(document, on(1, "decline")) == []
    (problem,) = refusals(document, on(1, "amount", "5.00"))
    assert problem.expected.startswith('the answer "accept" or "decline"')


@settings(max_examples=examples(50))
@given(issued_sheets(), st.data())
def test_what_may_be_answered_fits_the_sheet(document: Table, data: st.DataObject) -> None:
    numbers = priced_lines(document)
    answers = [data.draw(possible_answers(document, number)) for number in numbers[:1000]]
    if answers:
        assert refusals(document, *answers) == []


# --- how the money stands ---------------------------------------------------------------------


def test_an_unanswered_sheet_is_open_to_the_last_cent() -> None:
    document = issued(panel("hood"), panel("roof"), under=taxed(labour="7.5"))
    found = after(document)
    assert sums(found) == (0, 6450, 0)
    assert (found.total, found.lines_answered, found.lines_open) == (6450, 0, 2)


def test_accepted_is_agreed_offered_is_agreed_in_part_declined_is_disputed() -> None:
    document = issued(panel("hood"), panel("roof"), panel("decklid"), panel("fender-l"))
    found = after(document, on(1, "accept"), on(2, "amount", "20.00"), on(3, "decline"))
    assert [(each.agreed, each.open, each.disputed) for each in found.lines] == [
        (3000, 0, 0),
        (2000, 0, 1000),
        (0, 0, 3000),
        (0, 3000, 0),
    ]
    assert sums(found) == (5000, 3000, 4000)
    assert (found.lines_answered, found.lines_open) == (3, 1)


def test_tax_follows_the_lines_that_it_is_on() -> None:
    document = issued(panel("hood"), panel("roof"), under=taxed(labour="7.5"))
    tax = after(document, on(1, "amount", "20.00")).lines[2]
    # 7.5 % of 20.00; of 50.00 less that; of the 60.00 printed less both.
    assert (tax.agreed, tax.open, tax.disputed) == (150, 225, 75)
    assert tax.follows
    assert not tax.waits


def test_tax_on_parts_does_not_follow_labour() -> None:
    document = issued(panel("hood"), under=matrix(**removal_and_tax()))
    labels = [line["label"] for line in document["lines"]]
    parts, tax = labels.index("Hood liner: fasteners") + 1, labels.index("Tax on parts") + 1
    declined = [on(n, "decline") for n in range(1, tax) if n != parts]
    found = after(document, on(parts, "accept"), *declined).lines[tax - 1]
    assert (found.agreed, found.open, found.disputed) == (50, 0, 0)


def test_a_tax_line_that_is_answered_itself_follows_nothing() -> None:
    document = issued(panel("hood"), under=taxed(labour="7.5"))
    found = after(document, on(1, "accept"), on(2, "decline"))
    assert sums(found) == (3000, 0, 225)
    assert not found.lines[1].follows
    assert found.lines_answered == 2


def test_a_tax_line_that_its_rate_does_not_explain_needs_an_answer_of_its_own() -> None:
    for key, value in (("label", "Tax on everything"), ("amount", "2.26")):
        document = issued(panel("hood"), under=taxed(labour="7.5"))
        document["lines"][1][key] = value
        found = after(document, on(1, "accept"))
        assert found.lines[1].waits
        assert found.lines_open == 1


def test_a_line_without_a_price_stays_open_without_being_open_money() -> None:
    document = issued(panel("hood", tally={"dime": 99}), panel("roof"))
    found = after(document, *[on(n, "accept") for n in priced_lines(document)])
    assert sums(found) == (3000, 0, 0)
    assert (found.lines_open, found.complete) == (1, False)
    assert settlement(document, 1, found) is None


def test_the_deductible_comes_off_what_is_agreed_and_never_leaves_less_than_nothing() -> None:
    document = issued(panel("hood"), panel("roof"), claim={"deductible": "40.00"})
    both = after(document, on(1, "accept"), on(2, "accept"))
    one = after(document, on(1, "accept"), on(2, "decline"))
    assert (both.net_agreed, one.net_agreed) == (2000, 0)


def test_a_claim_of_no_lines_has_nothing_to_answer() -> None:
    document = issued()
    found = after(document)
    assert (found.total, found.lines_open) == (0, 0)
    assert settlement(document, 1, found) is not None
    (problem,) = refusals(document, on(1, "accept"))
    assert problem.place == "answers[0].line"


def test_yen_have_no_decimals() -> None:
    document = issued(panel("hood"), under=matrix(matrix={"currency": "JPY"}, rates=YEN))
    assert document["lines"][0]["amount"] == "3000"
    assert sums(after(document, on(1, "amount", "2500"))) == (2500, 0, 500)
    assert len(refusals(document, on(1, "amount", "2500.5"))) == 1


YEN = {"repair": "9000", "removal": "6000"}


@settings(max_examples=examples(100))
@given(issued_sheets(), st.data())
def test_agreed_open_and_disputed_are_the_total_whatever_was_answered(
    document: Table, data: st.DataObject
) -> None:
    answers = data.draw(some_answers(document, priced_lines(document)))
    parts = [given for number, each in enumerate(answers, 1) for given in part(number, each)]
    found = standing(document, effective(parts))
    assert sum(sums(found)) == found.total == units(document["totals"]["total"])
    for line in found.lines:
        assert line.agreed + line.open + line.disputed == (line.amount or 0)
    waiting = set(untaxed_lines(document)) - {each["line"] for each in answers}
    unpriced = len(document["lines"]) - len(priced_lines(document))
    assert found.lines_open == len(waiting) + unpriced
    assert (found.open == 0) or waiting


@settings(max_examples=examples(50))
@given(issued_sheets())
def test_accepting_every_line_agrees_to_the_total(document: Table) -> None:
    for numbers in (untaxed_lines(document), priced_lines(document)):
        found = after(document, *[on(number, "accept") for number in numbers])
        assert sums(found) == (found.total, 0, 0)
    net = units(document["totals"]["net"])
    assert found.net_agreed == net


@settings(max_examples=examples(50))
@given(issued_sheets())
def test_declining_every_line_disputes_the_total(document: Table) -> None:
    found = after(document, *[on(number, "decline") for number in untaxed_lines(document)])
    assert sums(found) == (0, 0, found.total)


@settings(max_examples=examples(50))
@given(issued_sheets(), st.data())
def test_answering_in_parts_is_answering_once_with_the_latest_answers(
    document: Table, data: st.DataObject
) -> None:
    answers = data.draw(some_answers(document, priced_lines(document)))
    in_parts = [given for number, each in enumerate(answers, 1) for given in part(number, each)]
    latest = {each["line"]: each for each in answers}
    once = part(1, *data.draw(st.permutations(list(latest.values()))))
    shuffled = data.draw(st.permutations(in_parts))
    found, expected = (standing(document, effective(each)) for each in (shuffled, once))
    assert sums(found) == sums(expected)
    assert [line[:6] for line in found.lines] == [line[:6] for line in expected.lines]


def half_away(rate: str, base: int) -> int:
    """Percent of a sum by decimal arithmetic."""
    exact = Decimal(rate) * base / 100
    return int(exact.quantize(Decimal(1), rounding=ROUND_HALF_UP))


def plain_share(printed: int, answer: Table | None) -> tuple[int, int]:
    """What is agreed of a line, and what is agreed or still open."""
    if answer is None:
        return 0, printed
    agreed = {"accept": printed, "decline": 0}.get(answer["answer"])
    if agreed is None:
        agreed = units(answer["amount"])
    return agreed, agreed


@settings(max_examples=examples(100))
@given(issued_sheets(), st.data())
def test_tax_that_follows_is_the_rate_on_what_is_agreed(
    document: Table, data: st.DataObject
) -> None:
    assume(any(line["kind"] == "tax" for line in document["lines"]))
    answers = data.draw(some_answers(document, untaxed_lines(document)))
    latest = {each["line"]: each for each in answers}
    found = after(document, *latest.values())
    for line in found.lines:
        if line.line["kind"] != "tax":
            continue
        group = line.line["label"].removeprefix("Tax on ")
        shares = [
            plain_share(units(each["amount"]), latest.get(number))
            for number, each in enumerate(document["lines"], 1)
            if each["kind"] in TAXED[group] and each["amount"] is not None
        ]
        rate = document["matrix"]["tax"][group]
        agreed = half_away(rate, sum(share[0] for share in shares))
        not_disputed = half_away(rate, sum(share[1] for share in shares))
        assert line.follows
        assert (line.agreed, line.open) == (agreed, not_disputed - agreed)
        assert line.disputed == units(line.line["amount"]) - not_disputed


@pytest.mark.parametrize("name", DEMO)
def test_a_sheet_printed_with_a_currencys_decimals_is_read_with_them(name: str) -> None:
    document = demo_sheet(name)
    found = after(document)
    assert found.decimals == currency_decimals(found.currency)
    assert found.open == found.total


def test_a_sheet_stands_the_same_however_its_numbers_were_read() -> None:
    priced = estimate(claim(panel("hood", oversize=[{"mm": 41.5}])), taxed(labour="7.5"))
    text = sheet_text(sheet_json(priced))
    exact, plain = load_json(text, "sheet"), sheet(priced)
    accept = [on(number, "accept") for number in priced_lines(plain)]
    assert settlement(exact, 1, after(exact, *accept)) == settlement(
        plain, 1, after(plain, *accept)
    )


# --- settlement -------------------------------------------------------------------------------


def settled(document: Table, *answers: Table) -> Table:
    found = settlement(document, 1, after(document, *answers))
    assert found is not None, "every line is answered"
    return found


def test_a_settlement_says_what_is_agreed_and_what_the_insurer_pays_of_it() -> None:
    document = issued(
        panel("hood"), panel("roof"), under=taxed(labour="7.5"), claim={"deductible": "10.00"}
    )
    found = settled(document, on(1, "accept"), on(2, "amount", "20.00"))
    assert found == {
        "revision": 1,
        "sheet": document["digest"],
        "lines": [
            {"line": 1, "amount": "30.00"},
            {"line": 2, "amount": "20.00"},
            {"line": 3, "amount": "3.75"},
        ],
        "agreed": "53.75",
        "disputed": "10.75",
        "net": "43.75",
        "settlement": found["settlement"],
    }
    rest = {key: value for key, value in found.items() if key != "settlement"}
    assert found["settlement"] == digest(rest)


def test_nothing_is_settled_while_a_line_is_open() -> None:
    document = issued(panel("hood"), panel("roof"))
    assert settlement(document, 1, after(document, on(1, "accept"))) is None


def test_a_line_of_nothing_still_needs_its_answer_before_anything_is_settled() -> None:
    document = issued(panel("hood", agreed="0.00"))
    found = after(document)
    assert (found.open, found.lines_open) == (0, 1)
    assert settlement(document, 1, found) is None


def test_another_revision_or_another_sheet_is_another_settlement() -> None:
    document = issued(panel("hood"))
    found = after(document, on(1, "accept"))
    first, second = (settlement(document, number, found) for number in (1, 2))
    other = settlement(document | {"digest": "0" * 64}, 1, found)
    assert first is not None
    assert second is not None
    assert other is not None
    assert len({each["settlement"] for each in (first, second, other)}) == 3


def test_another_reason_for_the_same_money_is_the_same_settlement() -> None:
    document = issued(panel("hood"))
    one, other = (settled(document, on(1, "decline", reason=why)) for why in (NO_PANEL, "Old."))
    assert one == other


@settings(max_examples=examples(50))
@given(issued_sheets(), st.data())
def test_the_settlement_changes_exactly_when_what_is_agreed_of_a_line_does(
    document: Table, data: st.DataObject
) -> None:
    numbers = untaxed_lines(document)
    assume(numbers and document["totals"]["complete"])
    before = {number: data.draw(possible_answers(document, number)) for number in numbers}
    changed = data.draw(st.sampled_from(numbers))
    later = before | {changed: data.draw(possible_answers(document, changed))}
    old, new = (settled(document, *answers.values()) for answers in (before, later))
    printed = units(document["lines"][changed - 1]["amount"])
    same = plain_share(printed, before[changed]) == plain_share(printed, later[changed])
    assert (old["settlement"] == new["settlement"]) is same


# --- supplements ------------------------------------------------------------------------------


def carry(old: Table, new: Table, *answers: Table) -> list[tuple[int, str, str | None]]:
    kept = carried(old, effective(part(1, *answers)), new)
    return [(each.line, each.answer, each.amount) for each in kept]


def test_answers_to_lines_that_stayed_are_carried_over_with_their_reasons() -> None:
    old = issued(panel("hood"), panel("roof"))
    new = issued(panel("fender-l"), panel("hood"), panel("roof"))
    answers = effective(part(1, on(1, "accept"), on(2, "decline", reason=NO_PANEL)))
    kept = carried(old, answers, new)
    assert [new["lines"][each.line - 1]["panel"] for each in kept] == ["hood", "roof"]
    assert [(each.answer, each.reason) for each in kept] == [("accept", ""), ("decline", NO_PANEL)]


def test_a_line_of_another_amount_has_to_be_answered_anew() -> None:
    old, new = issued(panel("hood")), issued(panel("hood", tally={"dime": 5}))
    assert carry(old, new, on(1, "accept")) == []


def test_the_like_line_of_another_panel_is_another_line() -> None:
    old, new = issued(panel("hood")), issued(panel("roof"))
    assert old["lines"][0]["because"]["formula"] == new["lines"][0]["because"]["formula"]
    assert carry(old, new, on(1, "accept")) == []


def test_the_same_sum_from_other_figures_is_another_line() -> None:
    part_of = {"kind": "part", "label": "Clip"}
    old = issued(other=[part_of | {"quantity": 2, "unit_price": "3.00"}])
    new = issued(other=[part_of | {"quantity": 3, "unit_price": "2.00"}])
    assert old["lines"][0]["amount"] == new["lines"][0]["amount"]
    assert carry(old, new, on(1, "accept")) == []


def test_of_equal_lines_each_is_carried_once_and_in_order() -> None:
    dent = {"kind": "part", "label": "Clip", "unit_price": "3.00"}
    two, three = issued(other=[dent] * 2), issued(other=[dent] * 3)
    both = (on(1, "accept"), on(2, "decline"))
    assert carry(two, three, *both) == [(1, "accept", None), (2, "decline", None)]
    assert carry(three, two, on(3, "decline")) == []


def test_a_tax_line_that_followed_is_not_carried_one_that_was_answered_is_if_it_stayed() -> None:
    under = taxed(labour="7.5", parts="5")
    clip = {"kind": "part", "label": "Clip", "unit_price": "30.00"}
    old = issued(panel("hood"), other=[clip], under=under)
    new = issued(panel("hood"), panel("roof"), other=[clip], under=under)
    assert [line["label"] for line in new["lines"]][3:] == ["Tax on labour", "Tax on parts"]
    assert carry(old, new, on(1, "accept"), on(2, "accept")) == [
        (1, "accept", None),
        (3, "accept", None),
    ]
    assert carry(old, new, on(3, "decline"), on(4, "decline")) == [(5, "decline", None)]


def test_nothing_is_carried_into_another_currency() -> None:
    old = issued(panel("hood"))
    new = issued(panel("hood"), under=matrix(matrix={"currency": "EUR"}))
    assert carry(old, new, on(1, "accept")) == []


def test_a_discount_that_the_new_sheet_is_too_small_for_is_not_carried() -> None:
    old = discounted(other=[{"kind": "part", "label": "Clip", "unit_price": "30.00"}])
    new = discounted()
    assert [line["amount"] for line in old["lines"]] == ["30.00", "-3.00", "30.00"]
    assert refusals(old, on(2, "amount", "-50.00")) == []
    assert carry(old, new, on(2, "amount", "-50.00")) == []
    assert carry(old, new, on(2, "amount", "-20.00")) == [(2, "amount", "-20.00")]


@settings(max_examples=examples(50))
@given(issued_sheets(), st.data())
def test_a_supplement_that_changes_nothing_carries_every_answer(
    document: Table, data: st.DataObject
) -> None:
    answers = data.draw(some_answers(document, priced_lines(document)))
    given_ = effective(part(1, *{each["line"]: each for each in answers}.values()))
    kept = carried(document, given_, document)
    assert {each.line: each for each in kept} == {
        number: given.answer for number, given in given_.items()
    }


@settings(max_examples=examples(50))
@given(issued_sheets(), st.data())
def test_what_is_carried_is_an_answer_that_the_new_sheet_takes(
    document: Table, data: st.DataObject
) -> None:
    lines = document["lines"]
    kept_lines = [line for line in lines if data.draw(st.booleans())]
    new = document | {"lines": kept_lines}
    given_: Mapping[int, Given] = effective(
        part(1, *data.draw(some_answers(document, priced_lines(document))))
    )
    kept = carried(document, given_, new)
    assert len({each.line for each in kept}) == len(kept) <= len(given_)
    for each in kept:
        assert refusals(new, as_json(each)) == []


# --- as JSON ----------------------------------------------------------------------------------


def test_the_json_shows_every_line_with_its_answer_and_sums_that_add_up() -> None:
    document = issued(panel("hood"), panel("roof"), under=taxed(labour="7.5"))
    given_ = effective(
        part(1, on(1, "accept"), carried_from=1) + part(2, on(2, "amount", "20", NO_PANEL))
    )
    found = answers_json(standing(document, given_))
    assert {key: value for key, value in found.items() if key != "lines"} == {
        "currency": "USD",
        "agreed": "53.75",
        "open": "0.00",
        "disputed": "10.75",
        "total": "64.50",
        "deductible": "0.00",
        "net_agreed": "53.75",
        "complete": True,
        "lines_answered": 2,
        "lines_open": 0,
    }
    assert [each["line"] for each in found["lines"]] == document["lines"]
    assert [each["number"] for each in found["lines"]] == [1, 2, 3]
    assert [each["follows"] for each in found["lines"]] == [False, False, True]
    assert [each["answer"] for each in found["lines"]] == [
        {
            "answer": "accept",
            "amount": None,
            "reason": "",
            "part": 1,
            "at": "2026-06-01T09:00:00Z",
            "by": "Adjuster",
            "carried_from": 1,
        },
        {
            "answer": "amount",
            "amount": "20",
            "reason": NO_PANEL,
            "part": 2,
            "at": "2026-06-02T09:00:00Z",
            "by": "Adjuster",
            "carried_from": None,
        },
        None,
    ]


def test_everything_else_can_be_accepted_in_one_word() -> None:
    found = standing(issued(panel(), panel("roof")), {})
    declined = {"line": 2, "answer": "decline", "reason": "Not from this storm."}
    answers = read_answers({"revision": 1, "answers": [declined], "others": "accept"})
    given = {each.line: each.answer for each in with_others(answers, found)}
    assert given == {2: "decline"} | {
        line.number: "accept" for line in found.lines if line.number != 2 and not line.follows
    }
