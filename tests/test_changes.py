"""What a supplement changes: old, new and difference by line, panel and total.

Amounts in minor units. A supplement is a whole new sheet; everything said of the difference
must follow from the two.
"""

from __future__ import annotations

import json
from copy import deepcopy
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hailcalc.claim import Changes, changes_between
from hailcalc.claim.pdf import changes_pdf
from hailcalc.claim.report import changes_json, changes_text
from hailcalc.problems import InputError
from tests.builders import claim, estimate, matrix, names, page_texts, panel, removal_and_tax, sheet
from tests.effort import examples
from tests.strategies import priced_together
from tests.test_cli import hailcalc, written

Table = dict[str, Any]

VIN, OTHER_VIN = "0ZZHAL017TE000001", "0ZZHAL028TE000002"


def between(old: Table, new: Table, under: Table | None = None) -> Changes:
    return changes_between(estimate(old, under), estimate(new, under))


def told(changes: Changes) -> list[tuple[str | None, str, int | None, int | None]]:
    """Panel, label, old and new amount of every line that changed."""
    return [
        (group.panel, line.line.label, line.old_amount, line.new_amount)
        for group in changes.panels
        for line in group.changed
    ]


def test_a_supplement_that_changes_nothing_has_no_changed_line() -> None:
    both = claim(panel("hood"), panel("roof"))
    changes = between(both, both)
    assert told(changes) == []
    assert "As before: Hood, Roof" in changes_text(changes)


def test_more_dents_change_the_panels_own_line_and_no_other() -> None:
    changes = between(
        claim(panel("hood"), panel("roof")), claim(panel("hood", tally={"dime": 5}), panel("roof"))
    )
    assert told(changes) == [("hood", "Push", 3000, 6000)]


def test_a_panel_that_shows_damage_later_is_new_with_what_has_to_come_off_for_it() -> None:
    changes = between(
        claim(panel("roof")), claim(panel("roof"), panel("hood")), matrix(**removal_and_tax())
    )
    assert told(changes) == [
        ("hood", "Push", None, 3000),
        (None, "Hood liner", None, 900),
        (None, "Hood liner: fasteners", None, 660),
        (None, "Tax on parts", None, 50),
    ]


def test_a_panel_that_is_glued_instead_is_the_same_line_under_another_name() -> None:
    changes = between(claim(panel("hood")), claim(panel("hood", access="glue")))
    assert told(changes) == [("hood", "Glue pull", 3000, 3000)]
    assert "instead of Push" in changes_text(changes)


def test_a_replacement_takes_the_place_of_the_repair() -> None:
    changes = between(
        claim(panel("hood")), claim(panel("hood", access="replace", replace_cost="640.00"))
    )
    assert told(changes) == [
        ("hood", "Replacement", None, 64000),
        ("hood", "Push", 3000, None),
    ]


def test_oversize_dents_that_stayed_are_matched_before_the_one_that_is_new() -> None:
    old = panel("hood", oversize=[{"mm": 41}, {"mm": 36}])
    new = panel("hood", oversize=[{"mm": 38}, {"mm": 41}, {"mm": 36}])
    (change,) = told(between(claim(old), claim(new)))
    assert change[:3] == ("hood", "Oversize dent", None)


def test_a_panel_without_a_price_yet_is_no_price_and_counts_as_nothing() -> None:
    changes = between(claim(panel("hood")), claim(panel("hood", tally={"dime": 99})))
    assert told(changes) == [("hood", "Not priced", 3000, None)]
    assert "no price" in changes_text(changes)
    assert changes.panels[0].new == 0


@settings(max_examples=examples(100))
@given(priced_together(), st.data())
def test_the_differences_add_up_to_the_difference_of_the_totals(
    pair: tuple[Table, Table], data: st.DataObject
) -> None:
    old, under = pair
    new = deepcopy(old)
    if new["panels"]:
        new["panels"].pop(data.draw(st.integers(0, len(new["panels"]) - 1)))
    try:
        changes = between(old, new, under)
    except InputError:
        return  # a panel without a method
    differences = sum(group.new - group.old for group in changes.panels)
    before, after = changes.totals
    assert differences == after.total - before.total
    for each, side in ((changes.old, "old"), (changes.new, "new")):
        told_of = [
            getattr(line, side).as_json(changes.decimals)
            for group in changes.panels
            for line in group.lines
            if getattr(line, side) is not None
        ]
        assert sorted(map(str, told_of)) == sorted(map(str, each["lines"]))


def test_going_back_turns_every_difference_round() -> None:
    old = claim(panel("hood"), panel("roof", oversize=[{"mm": 41}]))
    new = claim(panel("hood", tally={"dime": 9}), panel("door-fl"))
    there, back = between(old, new), between(new, old)
    assert {group.panel: group.new - group.old for group in there.panels} == {
        group.panel: group.old - group.new for group in back.panels
    }


@pytest.mark.parametrize("vins", [(None, None), (VIN, None), (None, VIN), (VIN, OTHER_VIN)])
def test_two_sheets_with_neither_number_nor_vin_in_common_are_not_compared(
    vins: tuple[str | None, str | None],
) -> None:
    old, new = (claim(panel("hood"), vehicle={"vin": vin} if vin else {}) for vin in vins)
    new["claim"]["number"] = "C-2"
    with pytest.raises(InputError) as refused:
        between(old, new)
    assert refused.value.problems[0].found == 'claim.number "C-2"'


def test_a_number_a_vin_and_a_body_that_were_corrected_are_told_old_and_new() -> None:
    old = claim(panel("hood"), vehicle={"vin": VIN})
    new = claim(panel("hood"), body="coupe", vehicle={"vin": OTHER_VIN}, claim={"number": "C-2"})
    pair = sheet(estimate(old)), sheet(estimate(new))
    changes = changes_between(*pair, one_claim=True)
    assert changes.facts == (
        ("Claim number", "C-1", "C-2"),
        ("Body", "sedan", "coupe"),
        ("VIN", VIN, OTHER_VIN),
    )
    assert told(changes) == []
    assert "Claim number: C-1 → C-2\n" in changes_text(changes)
    assert changes_json(changes)["facts"][0] == {
        "label": "Claim number", "old": "C-1", "new": "C-2",
    }  # fmt: skip
    page = " ".join(page_texts(changes_pdf(changes))[0].split())
    assert f"VIN {VIN} {OTHER_VIN}" in page
    assert "As before: Hood." in page


def test_a_number_that_came_late_is_the_same_claim_by_its_vin() -> None:
    old, new = (
        claim(panel("hood"), vehicle={"vin": VIN}, claim={"number": number})
        for number in ("none yet", "C-9")
    )
    assert between(old, new).facts == (("Claim number", "none yet", "C-9"),)


def test_one_part_at_twice_the_price_is_other_figures_for_the_same_amount() -> None:
    old, new = (
        claim(panel("hood"), other=[{"kind": "part", "label": "Moulding"} | each])
        for each in (
            {"quantity": 2, "unit_price": "84.50"},
            {"quantity": 1, "unit_price": "169.00"},
        )
    )
    changes = between(old, new)
    assert told(changes) == [(None, "Moulding", 16900, 16900)]
    words = "other figures, same amount: as priced: 169.00; was: 2 at 84.50: 2 * 84.50"
    assert words in changes_text(changes)
    (line,) = changes_json(changes)["panels"][1]["lines"]
    assert (line["change"], line["difference"], line["words"]) == ("changed", "0.00", words)
    page = " ".join(page_texts(changes_pdf(changes))[0].split())
    assert "As before: Hood." in page
    assert "169.00 169.00 0.00" in page


def test_more_dents_in_the_same_band_are_told_though_the_price_stays() -> None:
    old, new = (claim(panel("hood", tally={"dime": count})) for count in (2, 3))
    changes = between(old, new)
    assert told(changes) == [("hood", "Push", 3000, 3000)]
    text = changes_text(changes)
    assert "same amount: 3 dents, band 1–3, dime; was: 2 dents, band 1–3, dime" in text
    assert "2 dime → 3 dime" in text
    assert "As before" not in text


@pytest.mark.parametrize(
    ("was", "now", "found"),
    [
        ({"tally": {"dime": 2, "half-dollar": 1}}, {"tally": {"dime": 1, "half-dollar": 2}},
         ("Tally", "2 dime, 1 half-dollar", "1 dime, 2 half-dollar")),
        ({"metal": "steel"}, {"metal": "aluminium"}, ("Metal", "steel", "aluminium")),
        ({}, {"note": "Under the strut"}, ("Note", None, "Under the strut")),
        ({"dents": [{"mm": 17, "x": 409, "y": 400}]}, {"dents": [{"mm": 17, "x": 408, "y": 400}]},
         ("Measured", "1 dent", "1 dent, otherwise in detail")),
    ],
)  # fmt: skip
def test_what_no_line_tells_of_a_panel_is_told_beside_its_lines(
    was: Table, now: Table, found: tuple[str, str | None, str | None]
) -> None:
    # A matrix that charges by the largest size and nothing for a metal: no line tells it.
    under = matrix(matrix={"mixed": "largest"})
    changes = between(claim(panel("roof", **was)), claim(panel("roof", **now)), under)
    assert told(changes) == []
    assert changes.panels[0].facts == (found,)
    assert "As before" not in changes_text(changes)
    assert found[0] in page_texts(changes_pdf(changes))[0]


def test_sheets_are_compared_as_issued_whatever_this_version_would_word_otherwise() -> None:
    old, new = (
        sheet(estimate(claim(panel("hood"), panel(other)))) for other in ("roof", "door-fl")
    )
    for line in old["lines"]:
        line["because"]["words"] = f"in the words of yore, {line['because']['words']}"
    changes = changes_between(old, new, versions=("0.3.9", "0.5.0"))
    assert told(changes) == [("roof", "Push", 3000, None), ("door-fl", "Push", None, 3000)]
    sentence = "The old sheet was priced by hailcalc 0.3.9, the new one by 0.5.0"
    assert sentence in changes_text(changes)
    assert sentence in " ".join(page_texts(changes_pdf(changes))[0].split())
    assert changes_json(changes)["versions"] == {"old": "0.3.9", "new": "0.5.0"}
    by_one = changes_between(old, new, versions=("0.5.0", "0.5.0"))
    assert by_one.about_versions == ""
    assert ("hood", "Push", 3000, 3000) in told(by_one)


def test_two_currencies_are_not_compared() -> None:
    one = estimate(claim(panel("hood")))
    other = estimate(claim(panel("hood")), matrix(matrix={"currency": "EUR"}))
    with pytest.raises(InputError, match="EUR"):
        changes_between(one, other)


def test_the_json_has_both_sides_of_every_line() -> None:
    found = changes_json(between(claim(panel("hood")), claim(panel("hood"), panel("roof"))), "look")
    assert found["reason"] == "look"
    assert [(each["panel"], each["difference"]) for each in found["panels"]] == [
        ("hood", "0.00"),
        ("roof", "30.00"),
    ]
    assert [line["change"] for each in found["panels"] for line in each["lines"]] == [
        "same",
        "added",
    ]
    assert found["totals"]["total"] == {"old": "30.00", "new": "60.00", "difference": "30.00"}


@pytest.mark.parametrize("paper", ["letter", "a4"])
def test_the_page_says_reason_sums_and_digests_and_comes_out_the_same_twice(paper: str) -> None:
    changes = between(claim(panel("hood")), claim(panel("hood"), panel("roof")))
    drawn = changes_pdf(changes, reason="Found under the trim", paper=paper)
    assert drawn == changes_pdf(changes, reason="Found under the trim", paper=paper)
    text = " ".join(page_texts(drawn)[0].split())
    assert "Reason: Found under the trim" in text
    assert "+$30.00" in text
    for side in (changes.old, changes.new):
        assert side["digest"] in text


def test_a_reason_that_the_fonts_cannot_print_is_refused() -> None:
    same = claim(panel("hood"))
    with pytest.raises(InputError, match="Latin letters"):
        changes_pdf(between(same, same), reason="雹")


def test_the_command_compares_two_sheets_and_writes_both_files(tmp_path: Path) -> None:
    for name, data in (("old", claim(panel("hood"))), ("new", claim(panel("hood"), panel("roof")))):
        path = written(tmp_path / f"{name}.json", data)
        ran = hailcalc("price", path, "--matrix", "copperfin-2026", "--json", tmp_path / name)
        assert ran.returncode == 0, ran.stderr
    done = hailcalc(
        "changes", tmp_path / "old", tmp_path / "new", "--reason", "More under the trim",
        "--pdf", tmp_path / "c.pdf", "--json", tmp_path / "c.json",
    )  # fmt: skip
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.startswith("Changes of claim C-1, sedan\nReason: More under the trim\n")
    assert json.loads((tmp_path / "c.json").read_text("utf-8"))["claim"] == "C-1"
    assert "Supplement: what changed" in page_texts((tmp_path / "c.pdf").read_bytes())[0]


def test_a_sheet_that_somebody_changed_is_not_compared(tmp_path: Path) -> None:
    path = written(tmp_path / "claim.json", claim(panel("hood")))
    good, bad = tmp_path / "good.json", tmp_path / "bad.json"
    hailcalc("price", path, "--matrix", "copperfin-2026", "--json", good)
    document = json.loads(good.read_text("utf-8"))
    document["lines"][0]["amount"] = "9999.00"
    written(bad, document)
    done = hailcalc("changes", good, bad, "--pdf", tmp_path / "c.pdf")
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == (
        f"{bad}: found a sheet that does not verify, expected one as it was made; see hailcalc "
        "verify\n"
    )
    assert "c.pdf" not in names(tmp_path)
