"""The job card as the technician gets it: read back from the finished file, or from its marks.

Points, origin bottom left; minutes of the shop, dents. Texts and their places are read with
pypdf; boxes to tick and the extent of texts come from the page setter's own marks. What a
technician needs on such a card, and in which order, is common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from functools import cache
from io import BytesIO
from typing import Any

import pikepdf
import pytest
from hypothesis import HealthCheck, given, settings
from pypdf import PdfReader

from hailcalc.cautions import ALWAYS, CAUTIONS
from hailcalc.estimate import Estimate
from hailcalc.jobcard.card import CardPanel, job_card
from hailcalc.jobcard.pdf import MARGIN, SCALES, composed, furniture, job_card_pdf
from hailcalc.problems import InputError
from hailcalc.sheet.document import sheet_json
from hailcalc.sheet.layout import BoxMark, Flow, RuleMark, TextMark
from hailcalc.sheet.locale import writer
from hailcalc.sheet.pdf import PAPERS
from hailcalc.vehicle import PANEL_LABELS, PANELS, PART_OF_PANEL
from tests.builders import (
    DEMO,
    FULLEST,
    MATRICES,
    PICKUP,
    SEDAN,
    SMALLEST,
    Table,
    claim,
    demo_estimate,
    estimate,
    matrix,
    page_texts,
    panel,
)
from tests.effort import examples
from tests.strategies import priced_together
from tests.test_sheet_pdf import (
    LONG_NOTE,
    LONG_WITH_BLANKS,
    LONG_WITHOUT_BLANKS,
    STRAINS,
    Box,
    box_of,
    drawn_points,
    fragments,
    near,
    overlaps,
    strained,
    without_blanks,
)

# --- claims -----------------------------------------------------------------------------------


@cache
def shipped_matrix(name: str) -> Table:
    import tomllib

    return tomllib.loads((MATRICES / f"{name}.toml").read_text("utf-8"))


def under_copperfin(data: Table) -> Estimate:
    return estimate(data, shipped_matrix("copperfin-2026"))


def operations(number: int, panels: list[str], **more: Any) -> list[Table]:
    """So many operations in chains, the last of each opening a panel."""
    across = len(panels)
    return [
        {
            "id": f"off-{at}",
            "label": f"Part {at} of the trim",
            "minutes": "7.5",
            "fasteners": at % 4,
            "opens": [panels[at % across]] if at >= number - across else [],
            "after": [f"off-{at - across}"] if at >= across else [],
        }
        | more
        for at in range(number)
    ]


def pickup(access: str = "plan", operations_: list[Table] | None = None) -> Estimate:
    """Every panel of a pickup hit, with everything on the roof that a pickup can have."""
    hit = [
        panel(name, access=access, tally={"dime": 20 + at, "nickel": 9})
        | ({"marked": {"braced": {"dime": 6}, "glue-only": {"nickel": 2}}} if at % 3 == 0 else {})
        for at, name in enumerate(PICKUP)
    ]
    vehicle = {
        "description": "Blue work truck",
        "vin": "0ZZHAL061TE000006",
        "equipment": ["sunroof", "roof-rack", "roof-antenna"],
    }
    data = claim(*hit, body="pickup", vehicle=vehicle, conditions={"panel_temperature_c": 24.5})
    if operations_ is None:
        return under_copperfin(data)
    return estimate(data, shipped_matrix("copperfin-2026") | {"removal": operations_})


@cache
def thirty_off() -> Estimate:
    cautious = operations(30, PICKUP)
    for at, key in enumerate(CAUTIONS):
        cautious[4 * at]["caution"] = [key]
    return pickup("push", cautious)


@cache
def hundred_off() -> Estimate:
    return pickup("push", operations(100, PICKUP, caution=["airbag", "glass"]))


@cache
def far_too_long() -> Estimate:
    return pickup("push", operations(60, PICKUP, label=LONG_WITHOUT_BLANKS, caution=[*CAUTIONS]))


def doors_and_roof() -> Table:
    """A matrix where the doors come off first, then the roof; nothing of the hood."""
    return matrix(
        removal=[
            {"id": "card", "label": "Door card", "minutes": "18", "opens": ["door-fl"],
             "fasteners": 6, "fastener_price": "0.90", "caution": "airbag"},
            {"id": "lining", "label": "Roof lining", "minutes": "42.5", "opens": ["roof", "rail-l"],
             "caution": ["airbag", "glass"]},
        ]
    )  # fmt: skip


MADE: dict[str, Callable[[], Estimate]] = {
    "thirty operations": thirty_off,
    "a hundred operations": hundred_off,
    "labels beyond reason": far_too_long,
    "planned": pickup,
}
CASES = [*MADE, *STRAINS, *DEMO]


def case(name: str) -> Estimate:
    if name in MADE:
        return MADE[name]()
    return strained(name) if name in STRAINS else demo_estimate(name)


# --- reading cards back -----------------------------------------------------------------------


def words(priced: Estimate, **how: str) -> str:
    return " ".join(" ".join(page_texts(job_card_pdf(priced, **how))).split())


def lists(pdf: bytes) -> tuple[list[tuple[int, str]], list[tuple[int, str]]]:
    """Number and label of what comes off and of what goes back on, as they stand on the card."""
    pieces = fragments(pdf)
    first = next(at for at, piece in enumerate(pieces) if piece.text == "Off, in this order")
    last = next(at for at, piece in enumerate(pieces) if piece.text == "Panels, in order of work")
    head = next(piece for piece in pieces if piece.text == "Back on, in reverse")
    off: list[tuple[int, str]] = []
    back: list[tuple[int, str]] = []
    label_x = {id(off): 0.0, id(back): 0.0}
    for piece in pieces[first:last]:
        left, side = (head.x, back) if piece.x >= head.x else (MARGIN, off)
        if piece.text.isdigit() and piece.x < left + 22:
            side.append((int(piece.text), ""))
            label_x[id(side)] = 0.0
        elif side and (not label_x[id(side)] or near(piece.x, label_x[id(side)])):
            label_x[id(side)] = label_x[id(side)] or piece.x
            side[-1] = (side[-1][0], side[-1][1] + without_blanks(piece.text))
    return off, back


def in_row(pdf: bytes, name: str) -> list[str]:
    """What stands beside a panel's name in the list of panels."""
    pieces = fragments(pdf)
    top = next(piece for piece in pieces if piece.text == "Panels, in order of work")
    found = next(p for p in pieces if p.text == name and p.bold and p.y < top.y)
    row = [piece for piece in pieces if piece.page == found.page and near(piece.y, found.y)]
    return [piece.text for piece in row if piece is not found]


def ticks(flow: Flow) -> list[tuple[int, BoxMark]]:
    return [
        (number, mark)
        for number, page in enumerate(flow.pages)
        for mark in page
        if isinstance(mark, BoxMark) and mark.stroke is not None
    ]


def panels_of(priced: Estimate) -> dict[str, CardPanel]:
    return {panel.panel: panel for panel in job_card(priced).panels}


# --- no money ---------------------------------------------------------------------------------


@pytest.mark.parametrize("name", DEMO)
def test_no_price_stands_on_the_card_but_what_the_estimator_wrote_in_a_note(name: str) -> None:
    priced = demo_estimate(name)
    tables, totals = priced.compiled.tables, priced.totals
    write = writer(priced.compiled.matrix.matrix.locale, tables.currency, tables.decimals)
    text = words(priced)
    for result in priced.panels:
        text = text.replace(result.panel.note or "\n", "")
    amounts = {line.amount for line in priced.lines} | {totals.total, totals.net, totals.subtotal}
    for amount in amounts - {None, 0}:
        printed = write.amount(amount or 0)
        # A plain number without decimals or grouping may be a count of dents as well.
        if not printed.isdigit():
            assert not re.search(rf"(?<![\w.,]){re.escape(printed)}(?![\w.,])", text)
    for sign in (tables.currency, "$", "€", "¥", "£"):
        assert sign not in text


def test_the_price_of_a_replacement_is_left_out_where_it_is_what_remains() -> None:
    hit = panel(
        "hood",
        access="plan",
        tally={"dime": 9},
        marked={"glue-only": {"dime": 3}},
        replace_cost="4321.00",
    )
    priced = estimate(claim(hit, conditions={"panel_temperature_c": 36.5}))
    assert priced.plan is not None
    assert any("4321" in offer for offer in priced.plan.panels[0].offers)
    assert "4321" not in words(priced)


# --- one page ---------------------------------------------------------------------------------


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("name", DEMO)
def test_every_demo_vehicle_has_its_card_on_one_page(name: str, paper: str) -> None:
    assert len(page_texts(job_card_pdf(demo_estimate(name), paper=paper))) == 1


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("labels", PANEL_LABELS)
def test_a_pickup_with_every_panel_and_thirty_operations_has_one_page(
    paper: str, labels: str
) -> None:
    for priced in (thirty_off(), pickup("plan"), pickup("push")):
        assert len(job_card(priced).panels) == 15
        assert len(page_texts(job_card_pdf(priced, paper=paper, labels=labels))) == 1
    assert len(thirty_off().removal) == 30
    assert set(CAUTIONS) <= {caution.word for caution in job_card(thirty_off()).cautions}


def test_a_hundred_operations_go_on_to_pages_with_a_head_and_the_part_where_they_go_on() -> None:
    texts = page_texts(job_card_pdf(hundred_off()))
    assert len(texts) > 1
    for number, text in enumerate(texts, 1):
        assert f"Page {number} of {len(texts)}" in text
        assert "A job card, not an order to repair" in text
    assert "Job card, claim C-1" in texts[1]
    assert "Off, in this order" in texts[1]
    assert "Back on, in reverse" in texts[1]
    assert re.search("(Front|Left side|Right side|Rear|Roof), continued", texts[1])


@pytest.mark.parametrize("name", CASES)
def test_no_type_is_smaller_than_can_be_read(name: str) -> None:
    priced = case(name)
    flow = composed(priced)
    marks = [mark for page in flow.pages for mark in page]
    marks += [*furniture(job_card(priced), flow, 2, 2)]
    assert min(mark.size for mark in marks if isinstance(mark, TextMark)) >= 6.5


def test_little_work_is_set_in_large_type() -> None:
    sizes = {piece.size for piece in fragments(job_card_pdf(demo_estimate(SMALLEST)))}
    assert SCALES[0].size in sizes
    assert SCALES[0].size > 10


# --- the head ---------------------------------------------------------------------------------


def test_the_head_says_which_vehicle_it_is_and_what_it_comes_to_without_money() -> None:
    vehicle = {
        "description": "Grey wagon",
        "vin": "0ZZHAL017TE000001",
        "equipment": ["sunroof", "roof-rack"],
    }
    data = claim(
        panel("door-fl", tally={"dime": 7}),
        panel("roof", tally={"dime": 5}),
        panel("hood", access="replace", replace_cost="900.00"),
        body="wagon",
        claim={"number": "J-77", "dated": "2026-05-21", "estimator": "Tamsin Orlebeck"},
        vehicle=vehicle,
        shop={"name": "Copperfin Hail Line"},
        conditions={"panel_temperature_c": 21.5},
    )
    text = words(estimate(data, doors_and_roof()))
    for told in (
        "Claim J-77",
        "Grey wagon (wagon)",
        "0ZZHAL017TE000001",
        "Copperfin Hail Line",
        "Tamsin Orlebeck",
        "May 21, 2026",
        "21.5 °C",
        "sunroof, roof-rack",
        "2 to repair, 1 to replace",
        "Dents to repair 12",
        "60.5 min",
        "New fasteners 6",
        "as the estimator chose",
    ):
        assert told in text


@pytest.mark.parametrize(("aim", "told"), [("cost", "least cost"), ("minutes", "least time")])
def test_the_head_says_what_the_plan_aims_at(aim: str, told: str) -> None:
    priced = estimate(claim(panel("roof", access="plan"), aim=aim), doors_and_roof())
    assert f"planned for {told}" in words(priced)


def test_who_is_to_glue_without_a_temperature_is_told_to_measure_and_up_to_how_much() -> None:
    glued = panel("roof", access="glue")
    assert "not given, measure first; glue up to 30 °C" in words(estimate(claim(glued)))
    hot = matrix(access={"glue_limit_c": "28.5", "glue_hot": "warn"})
    given_ = claim(glued, conditions={"panel_temperature_c": 20})
    assert "20 °C; glue up to 28.5 °C" in words(estimate(given_, hot))
    assert "glue up to" not in words(estimate(given_, matrix(access={"glue_hot": "allow"})))
    assert "glue up to" not in words(estimate(claim(panel("roof"))))


@pytest.mark.parametrize("name", [SMALLEST, FULLEST])
def test_the_foot_says_from_which_sheet_the_card_was_made_and_what_it_is_not(name: str) -> None:
    priced = demo_estimate(name)
    header = priced.compiled.matrix.matrix
    text = words(priced)
    assert (
        f"Made from claim {priced.claim.claim.number} under matrix {header.name}, "
        f"revision {header.revision}." in text
    )
    assert f"Digest of the claim sheet {sheet_json(priced)['digest'][:16]} Page 1 of 1" in text
    assert "not an order to repair: the vehicle maker's procedures come first" in text


# --- cautions ---------------------------------------------------------------------------------


def caution_keys(priced: Estimate) -> set[str]:
    """The cautions whose text is printed."""
    text = caution_texts(priced)
    told = {key: caution.partition(": ")[2] for key, caution in CAUTIONS.items()}
    for rest in told.values():
        assert text.count(rest[1:]) <= 1
    return {key for key, rest in told.items() if rest[:1].upper() + rest[1:] in text}


def caution_texts(priced: Estimate) -> str:
    """The texts of the cautions, one after the other."""
    pieces = fragments(job_card_pdf(priced))
    top = next(piece for piece in pieces if piece.text == "Cautions")
    foot = next(piece for piece in pieces if piece.text == "Removal and refit" and piece.y < top.y)
    return " ".join(piece.text for piece in pieces if foot.y < piece.y < top.y and not piece.bold)


@pytest.mark.parametrize("name", DEMO)
def test_cautions_of_what_comes_off_and_of_hot_glue_stand_once_and_no_others(name: str) -> None:
    priced = demo_estimate(name)
    expected = {key for work in priced.removal for key in work.cautions}
    if any(
        result.panel.access == "glue"
        or (result.panel.access == "push" and result.count.marks.get("glue-only"))
        for result in priced.panels
        if result.count.all
    ):
        expected.add("heat")
    assert caution_keys(priced) == expected
    for text in ALWAYS:
        assert text in caution_texts(priced)


def test_a_pushed_panel_whose_glue_only_dents_are_pulled_brings_the_caution_of_heat() -> None:
    dents = {"tally": {"dime": 9}, "marked": {"glue-only": {"dime": 2}}}
    assert caution_keys(estimate(claim(panel("hood", **dents)))) == {"heat"}
    assert caution_keys(estimate(claim(panel("hood")))) == set()


@pytest.mark.parametrize("name", DEMO)
def test_cautions_are_read_before_anything_comes_off(name: str) -> None:
    pieces = fragments(job_card_pdf(demo_estimate(name)))
    sections = ["Job card", "Cautions", "Removal and refit", "Panels, in order of work"]
    heights = []
    for title in sections:
        largest = max((p for p in pieces if p.text == title), key=lambda piece: piece.size)
        heights.append(largest.y)
    last = next(piece for piece in pieces if piece.text.startswith("Look again before"))
    assert [*heights, last.y] == sorted([*heights, last.y], reverse=True)


@pytest.mark.parametrize("name", ["06-pickup-braced-and-glue-only", FULLEST])
def test_each_operation_carries_the_words_of_its_cautions(name: str) -> None:
    priced = demo_estimate(name)
    pieces = fragments(job_card_pdf(priced))
    back = next(piece for piece in pieces if piece.text == "Back on, in reverse")
    for rule in priced.removal:
        label = next(p for p in pieces if p.text == rule.label and p.x < back.x)
        beside = [p for p in pieces if near(p.y, label.y) and label.x < p.x < back.x]
        told = [p.text for p in beside if p.bold]
        assert told == ([", ".join(rule.cautions)] if rule.cautions else [])


# --- removal and refit ------------------------------------------------------------------------


@pytest.mark.parametrize("name", [*DEMO, "thirty operations", "a hundred operations"])
def test_things_come_off_in_order_and_go_back_on_in_exactly_the_reverse(name: str) -> None:
    priced = case(name)
    if not priced.removal:
        assert "Nothing comes off." in words(priced)
        return
    expected = [(at, without_blanks(rule.label)) for at, rule in enumerate(priced.removal, 1)]
    off, back = lists(job_card_pdf(priced))
    assert off == expected
    assert back == expected[::-1]


@pytest.mark.parametrize("name", [*DEMO, "thirty operations", "a hundred operations"])
def test_every_operation_has_a_box_to_tick_on_both_sides(name: str) -> None:
    priced = case(name)
    flow = composed(priced)
    card = job_card(priced)
    assert len(ticks(flow)) == 2 * len(card.off) + len(card.panels) + len(card.again)
    for page, marks in enumerate(flow.pages):
        boxes = [box for number, box in ticks(flow) if number == page]
        numbers = [
            mark
            for mark in marks
            if isinstance(mark, TextMark) and mark.text.isdigit() and beside(mark, boxes)
        ]
        # A number belongs to the box on its left: to one box, and each box to one number.
        assert len(numbers) == len({id(box) for mark in numbers for box in beside(mark, boxes)})
    everywhere = [
        mark.text
        for page, marks in enumerate(flow.pages)
        for mark in marks
        if isinstance(mark, TextMark)
        and mark.text.isdigit()
        and beside(mark, [box for number, box in ticks(flow) if number == page])
    ]
    expected = [str(operation.number) for operation in card.off] * 2
    assert sorted(everywhere) == sorted(expected)


def beside(mark: TextMark, boxes: list[BoxMark]) -> list[BoxMark]:
    """The boxes that a number stands right after."""
    return [
        box
        for box in boxes
        if box.y < mark.y + 0.4 * mark.size < box.y + box.height
        and 0 < mark.x - (box.x + box.width) < 14
    ]


def test_operations_stand_under_the_part_of_the_vehicle_where_one_stands_for_them() -> None:
    priced = demo_estimate(FULLEST)
    pieces = fragments(job_card_pdf(priced))
    back = next(piece for piece in pieces if piece.text == "Back on, in reverse")
    names = {part.capitalize() for part in PART_OF_PANEL.values()}
    pairs = zip(priced.removal, priced.removal_parts, strict=True)
    labels = {rule.label: part for rule, part in pairs}
    for on_the_right in (False, True):
        part = ""
        seen = 0
        for piece in pieces:
            if (piece.x >= back.x) is not on_the_right:
                continue
            if piece.text in names and piece.bold and piece.y < back.y:
                part = piece.text
            elif piece.text in labels:
                assert part == labels[piece.text].capitalize()
                seen += 1
        assert seen == len(priced.removal)


def test_minutes_and_fasteners_stand_beside_each_operation_and_the_refit_wants_new_ones() -> None:
    data = claim(panel("door-fl"), panel("roof"))
    pdf = job_card_pdf(estimate(data, doors_and_roof()))
    pieces = fragments(pdf)
    rows = {
        label: [p.text for p in pieces if near(p.y, piece.y) and p is not piece]
        for label in ("Door card", "Roof lining")
        for piece in pieces
        if piece.text == label and piece.x < 200
    }
    assert rows["Door card"][:4] == ["1", "airbag", "18", "6"]
    assert rows["Roof lining"][:4] == ["2", "airbag, glass", "42.5", "·"]
    text = " ".join(" ".join(page_texts(pdf)).split())
    assert "Have 6 new single-use fasteners at hand" in text
    assert text.count("6 new") == 2


def test_nothing_off_is_said_and_has_nothing_to_put_back_on() -> None:
    text = words(estimate(claim(panel("roof", access="glue"))))
    assert "Nothing comes off." in text
    assert "nothing comes off" in text
    assert "Back on" not in text
    assert "Look again before the vehicle goes out" in text


# --- panels -----------------------------------------------------------------------------------


def test_a_row_says_the_method_the_dents_by_size_the_marks_and_the_metal() -> None:
    hit = panel(
        "hood",
        tally={"dime": 40, "half-dollar": 3},
        marked={"braced": {"dime": 6}, "body-line": {"dime": 1}, "glue-only": {"dime": 4}},
        oversize=[{"mm": 34.5}, {"mm": 41, "marks": ["sharp"]}],
        metal="aluminium",
        note="Look from the left.",
    )
    plain = panel("roof", repainted=True)
    pdf = job_card_pdf(estimate(claim(hit, plain)))
    assert in_row(pdf, "Hood") == [
        "push, 4 glued", "40", "3", "34.5, 41", "45",
        "braced 6, glue-only 4, body-line 1, sharp 1", "aluminium",
    ]  # fmt: skip
    assert in_row(pdf, "Roof") == ["push", "3", "·", "3", "steel, repainted"]
    assert "Look from the left." in [piece.text for piece in fragments(pdf)]


@pytest.mark.parametrize("name", DEMO)
def test_the_counts_of_every_panel_are_those_of_the_sheet(name: str) -> None:
    priced = demo_estimate(name)
    pdf = job_card_pdf(priced)
    for result in priced.panels:
        if not result.count.all:
            continue
        row = in_row(pdf, PANEL_LABELS["us"][result.panel.panel])
        about = "about " if result.panel.sample is not None else ""
        assert f"{about}{result.count.all}" in row
        counts = [str(number or "·") for number in result.count.counts]
        assert row[1 : 1 + len(counts)] == counts


@pytest.mark.parametrize(
    ("hit", "method"),
    [
        ({}, "push"),
        ({"marked": {"glue-only": {"dime": 1}}}, "push, 1 glued"),
        ({"marked": {"glue-only": {"dime": 3}}}, "glue pull"),
        ({"access": "glue"}, "glue pull"),
        ({"access": "replace", "replace_cost": "10.00"}, "replace"),
        ({"repainted": True, "marked": {"glue-only": {"dime": 3}}}, "none yet"),
        ({"repainted": True, "marked": {"glue-only": {"dime": 1}}}, "push"),
    ],
)
def test_the_method_is_told_in_words_of_the_shop(hit: Table, method: str) -> None:
    assert in_row(job_card_pdf(estimate(claim(panel("hood", **hit)))), "Hood")[0] == method


def test_glue_only_dents_on_a_hot_panel_wait() -> None:
    dents = {"tally": {"dime": 3}, "marked": {"glue-only": {"dime": 3}}}
    priced = estimate(claim(panel("hood", **dents), conditions={"panel_temperature_c": 33}))
    assert in_row(job_card_pdf(priced), "Hood")[0] == "wait"


def bold_texts(priced: Estimate) -> str:
    return " ".join(piece.text for piece in fragments(job_card_pdf(priced)) if piece.bold)


def test_dents_without_a_method_are_told_in_bold_with_what_remains() -> None:
    dents = {"tally": {"dime": 9}, "marked": {"glue-only": {"dime": 3}}}
    hot = {"panel_temperature_c": 36.5}
    for access in ("plan", "push"):
        priced = estimate(claim(panel("hood", access=access, **dents), conditions=hot))
        assert (
            "3 glue-only dents have no method today: 36.5 °C, hotter than the 30 °C up to which "
            "glue holds. Ask the estimator what remains: wait until the panel has 30 °C or less; "
            "replace the panel; leave them unrepaired by agreement." in bold_texts(priced)
        )
        painted = estimate(claim(panel("hood", access=access, repainted=True, **dents)))
        told = bold_texts(painted)
        assert "3 glue-only dents have no method: repainted, and a pull can lift the paint." in told
        assert "remains: replace the panel; leave them unrepaired by agreement." in told
    assert "no method" not in words(estimate(claim(panel("hood", **dents))))


def test_a_rule_about_glue_that_holds_where_glue_is_used_all_the_same_is_told() -> None:
    glued = panel("hood", access="glue", repainted=True)
    assert "Careful with glue: repainted" in bold_texts(estimate(claim(glued)))
    pushed = panel("hood", repainted=True, marked={"glue-only": {"dime": 1}})
    warned = estimate(claim(pushed), matrix(access={"glue_repainted": "warn"}))
    assert "Careful with glue: repainted" in bold_texts(warned)
    assert "Careful" not in words(estimate(claim(panel("hood", repainted=True))))


def test_panels_without_dents_are_left_out_but_not_a_replaced_one() -> None:
    data = claim(
        panel("hood", tally={}),
        panel("roof"),
        panel("decklid", access="replace", replace_cost="500.00", tally={}),
    )
    priced = estimate(data)
    assert list(panels_of(priced)) == ["roof", "decklid"]
    text = words(priced)
    assert "Hood" not in text
    assert "Decklid" in text


def test_work_follows_the_removal_with_pushed_panels_first_and_replaced_ones_at_the_end() -> None:
    data = claim(
        panel("hood"),
        panel("fender-l", access="replace", replace_cost="300.00"),
        panel("decklid"),
        panel("roof", access="glue"),
        panel("rail-r"),
        panel("rail-l"),
        panel("door-fl"),
        panel("door-fr"),
    )
    priced = estimate(data, doors_and_roof())
    assert priced.removal_parts == ("left side", "roof")
    order = ["door-fl", "rail-l", "rail-r", "roof", "hood", "door-fr", "decklid", "fender-l"]
    assert list(panels_of(priced)) == order
    pieces = fragments(job_card_pdf(priced))
    top = next(piece for piece in pieces if piece.text == "Panels, in order of work")
    names = {PANEL_LABELS["us"][name] for name in order}
    seen = [p.text for p in pieces if p.bold and p.text in names and p.y < top.y]
    assert seen == [PANEL_LABELS["us"][name] for name in order]


@pytest.mark.parametrize("name", [*DEMO, "thirty operations", "planned"])
def test_every_panel_with_dents_is_on_the_card_once(name: str) -> None:
    priced = case(name)
    listed = [panel.panel for panel in job_card(priced).panels]
    hit = {result.panel.panel for result in priced.panels if result.count.all}
    assert set(listed) == hit
    assert len(listed) == len(hit)
    # One never goes back to a part that was left, but for what is replaced.
    kept = [panel for panel in job_card(priced).panels if panel.kind != "replace"]
    parts = [PART_OF_PANEL[panel.panel] for panel in kept]
    changes = [part for at, part in enumerate(parts) if at == 0 or part != parts[at - 1]]
    assert len(changes) == len(set(changes))


def test_a_sampled_panel_is_about_so_many() -> None:
    priced = demo_estimate("16-pickup-roof-and-hood-by-sample-squares")
    sampled = [result for result in priced.panels if result.panel.sample is not None]
    assert sampled
    text = words(priced)
    for result in sampled:
        assert f"about {result.count.all}" in text
    assert f"Dents to repair about {job_card(priced).dents}" in text


# --- look again -------------------------------------------------------------------------------


def test_opened_and_pushed_panels_are_to_be_looked_at_again_with_room_for_a_number() -> None:
    data = claim(
        panel("hood"),
        panel("decklid", access="glue"),
        panel("roof"),
        panel("door-fl"),
        panel("fender-l", access="replace", replace_cost="300.00"),
    )
    priced = estimate(data, doors_and_roof())
    # The left roof rail has no dents, but the lining that is off opens it.
    assert job_card(priced).again == ("door-fl", "roof", "hood", "rail-l")
    flow = composed(priced)
    marks = [mark for page in flow.pages for mark in page]
    more = [mark for mark in marks if isinstance(mark, TextMark) and mark.text == "more:"]
    assert len(more) == 4
    for mark in more:
        blank = [
            rule
            for rule in marks
            if isinstance(rule, RuleMark) and abs(rule.y - mark.y) < 2 and 0 < rule.x - mark.x < 40
        ]
        assert len(blank) == 1
        assert blank[0].x2 - blank[0].x > 25


def test_what_shows_up_goes_to_the_estimator_before_it_is_worked() -> None:
    text = words(demo_estimate(FULLEST))
    assert "Look again before refit" in text
    assert "under the light board once the trim is off, and again before refit" in text
    assert "photographed and goes to the estimator as a supplement before it is worked" in text


# --- the file ---------------------------------------------------------------------------------


@pytest.mark.parametrize("name", [SMALLEST, FULLEST])
def test_the_same_claim_gives_the_same_bytes_and_no_clock(name: str) -> None:
    pdf = job_card_pdf(demo_estimate(name))
    assert pdf == job_card_pdf(demo_estimate(name))
    information = PdfReader(BytesIO(pdf)).metadata
    assert information is not None
    assert information.creation_date is None or information.creation_date.year == 2000
    assert information.title == f"Job card, claim {demo_estimate(name).claim.claim.number}"


@pytest.mark.parametrize("paper", PAPERS)
def test_every_page_has_the_papers_size(paper: str) -> None:
    for page in PdfReader(BytesIO(job_card_pdf(hundred_off(), paper=paper))).pages:
        assert (float(page.mediabox.width), float(page.mediabox.height)) == PAPERS[paper]


@pytest.mark.parametrize("name", [FULLEST, "a hundred operations"])
def test_a_second_reader_finds_no_fault_in_the_file(name: str) -> None:
    with pikepdf.open(BytesIO(job_card_pdf(case(name)))) as pdf:
        assert pdf.check_pdf_syntax() == []


@pytest.mark.parametrize("labels", PANEL_LABELS)
def test_panels_are_called_what_the_label_table_calls_them(labels: str) -> None:
    pieces = {piece.text for piece in fragments(job_card_pdf(thirty_off(), labels=labels))}
    assert {PANEL_LABELS[labels][name] for name in PICKUP} <= pieces
    assert not set(PANELS) & pieces


@pytest.mark.parametrize(
    ("char", "code"), [("😀", "U+1F600"), ("雹", "U+96F9"), ("Д", "U+0414")],
    ids=["emoji", "Chinese", "Cyrillic"],
)  # fmt: skip
def test_text_that_the_fonts_lack_is_refused_naming_the_place(char: str, code: str) -> None:
    rules = doors_and_roof()
    rules["removal"][0]["label"] = f"Card {char}"
    data = claim(
        panel("door-fl", note=f"seen by {char}"),
        claim={"estimator": char},
        vehicle={"description": f"Car {char}"},
        shop={"name": f"Shop {char}"},
    )
    with pytest.raises(InputError) as caught:
        job_card_pdf(estimate(data, rules))
    assert {(problem.file, problem.place) for problem in caught.value.problems} == {
        ("claim_file", "claim.estimator"),
        ("claim_file", "vehicle.description"),
        ("claim_file", "shop.name"),
        ("claim_file", "panels[0].note"),
        ("matrix", "removal[0].label"),
    }
    assert all(problem.found == f"{char} ({code})" for problem in caught.value.problems)


def test_a_name_that_is_not_on_the_card_does_not_keep_it_from_being_printed() -> None:
    data = claim(panel(), claim={"customer": "か"}, shop={"name": "Shop", "address": "か"})
    assert "Job card" in words(estimate(data, matrix(matrix={"title": "か"})))


# --- nothing leaves the page ------------------------------------------------------------------


def page_faults(priced: Estimate, paper: str, labels: str) -> Iterator[str]:
    """Texts over texts or boxes, beyond the margins, struck through, or in the foot."""
    flow = composed(priced, paper=paper, labels=labels)
    card = job_card(priced)
    for number, body in enumerate(flow.pages, 1):
        marks = [*body, *furniture(card, flow, number, len(flow.pages))]
        boxes = [box_of(m) for m in marks if isinstance(m, TextMark) and m.text.strip()]
        squares = [m for m in body if isinstance(m, BoxMark) and m.stroke is not None]
        solid = [Box(m.x, m.x + m.width, m.y, m.y + m.height, "[ ]") for m in squares]
        yield from (f"page {number}: {a.text!r} over {b.text!r}" for a, b in overlaps(boxes))
        yield from (
            f"page {number}: {a.text!r} over {b.text!r}"
            for a, b in overlaps([*boxes, *solid])
            if solid and "[ ]" in (a.text, b.text)
        )
        for box in [*boxes, *solid]:
            if box.left < MARGIN - 0.5 or box.right > flow.width - MARGIN + 0.5:
                yield f"page {number}: {box.text!r} from {box.left:.1f} to {box.right:.1f}"
            if box.foot < 14 or box.top > flow.height - 14:
                yield f"page {number}: {box.text!r} at {box.foot:.1f}"
        for mark in body:
            if isinstance(mark, TextMark) and mark.text.strip() and box_of(mark).foot < flow.bottom:
                yield f"page {number}: {mark.text!r} runs into the foot"
            if isinstance(mark, BoxMark | RuleMark) and mark.y < flow.bottom - 0.1:
                yield f"page {number}: a line or box in the foot"
        yield from (
            f"page {number}: {what} through {box.text!r}"
            for what, x, y, _ in drawn_points(marks)
            for box in boxes
            if box.left + 0.5 < x < box.right - 0.5 and box.foot + 0.5 < y < box.top - 0.5
        )


@pytest.mark.parametrize("labels", PANEL_LABELS)
@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("name", CASES)
def test_nothing_overlaps_or_leaves_the_page(name: str, paper: str, labels: str) -> None:
    assert list(page_faults(case(name), paper, labels)) == []


@settings(max_examples=examples(60), deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(priced_together())
def test_nothing_overlaps_on_the_card_of_any_claim(pair: tuple[Table, Table]) -> None:
    priced = estimate(*pair)
    assert list(page_faults(priced, "letter", "uk")) == []
    off, back = [rule.id for rule in priced.removal], job_card(priced).off[::-1]
    assert [priced.removal[each.number - 1].id for each in back] == off[::-1]


def test_the_widest_row_that_can_be_stays_within_the_page() -> None:
    marks = ("braced", "glue-only", "body-line", "sharp", "edge")
    hit = {
        "tally": {"dime": 9999, "half-dollar": 9999},
        "marked": {mark: {"dime": 9000} for mark in marks},
        "oversize": [{"mm": 400.125 + at} for at in range(30)],
        "metal": "composite",
        "repainted": True,
        "note": LONG_NOTE[:2000],
    }
    names = [name for name in PICKUP if name != "roof"]
    for body_panels in (["tailgate"], names):
        data = claim(*(panel(name, **hit) for name in body_panels), body="pickup")
        for paper in PAPERS:
            assert list(page_faults(estimate(data), paper, "uk")) == []


def test_a_long_note_takes_two_lines_and_says_that_it_goes_on() -> None:
    pieces = fragments(job_card_pdf(estimate(claim(panel("hood", note=LONG_NOTE[:2000])))))
    lines = [piece for piece in pieces if "Ölgötz" in piece.text or "Søn" in piece.text]
    assert 1 <= len(lines) <= 2
    assert [piece.text.endswith("…") for piece in pieces if piece.text.endswith("…")] == [True]
    last = next(piece for piece in pieces if piece.text.endswith("…"))
    assert LONG_NOTE.find(last.text[:-1]) > 0


@pytest.mark.parametrize("text", [LONG_WITH_BLANKS, LONG_WITHOUT_BLANKS])
def test_the_label_of_an_operation_is_never_cut(text: str) -> None:
    rules = doors_and_roof()
    rules["removal"][0]["label"] = text
    off, back = lists(job_card_pdf(estimate(claim(panel("door-fl")), rules)))
    assert off == back == [(1, without_blanks(text))]


@pytest.mark.parametrize("text", ["W" * 60, "W " * 29 + "W"])
def test_the_claims_number_is_never_cut_in_the_head(text: str) -> None:
    pdf = job_card_pdf(estimate(claim(panel(), claim={"number": text})))
    assert f"Claim {text}" in [piece.text for piece in fragments(pdf)]


def test_a_heading_of_a_part_does_not_stand_alone_at_the_foot_of_a_page() -> None:
    """Whatever comes before: the list is made longer until every break has come."""
    names = {part.capitalize() for part in PART_OF_PANEL.values()}
    for number in range(70, 110, 5):
        flow = composed(pickup("push", operations(number, PICKUP)))
        for page in flow.pages[:-1]:
            texts = [mark for mark in page if isinstance(mark, TextMark)]
            lowest = min(mark.y for mark in texts)
            assert not {mark.text for mark in texts if mark.y < lowest + 2} & names


def test_all_panels_of_a_sedan_and_an_empty_claim_have_a_card() -> None:
    assert "No panel has a dent." in words(estimate(claim()))
    card = job_card(estimate(claim(*(panel(name) for name in SEDAN))))
    assert len(card.panels) == 13
    assert card.dents == 39
