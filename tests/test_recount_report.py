"""A recount as people and machines get it: text, JSON, pages, and the command that writes them.

Text and JSON are held against the comparison's own numbers and against each other; pages are
read back from the file, texts and ink, in points with the origin at the bottom left.
"""

from __future__ import annotations

import json
import re
from collections import Counter
from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction
from functools import cache
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from pypdf import PdfReader

from hailcalc.intake import take_in_two
from hailcalc.money import money_text
from hailcalc.problems import InputError
from hailcalc.recount import Recount, recount
from hailcalc.recount.pdf import recount_pdf
from hailcalc.recount.report import recount_json, recount_json_text, recount_text
from hailcalc.sheet.attach import seals
from hailcalc.sheet.pdf import PAPERS
from hailcalc.vehicle import PANEL_LABELS, PANELS, PANELS_OF_BODY
from tests.builders import MATRICES, ROOT, Table, claim, names, page_texts, panel
from tests.effort import examples
from tests.test_cli import BAD_INPUT, DONE, hailcalc, written
from tests.test_drawing import Ink, ink, is_circle, marked_panel
from tests.test_recount import (
    TRUTH,
    compared,
    demo_recount,
    dent,
    hood,
    long_bands,
    row,
    sampled,
    two_hoods,
)
from tests.test_sheet_pdf import Box, Fragment, fragments, overlaps

SHOP = ROOT / "demo" / "claims" / "14-suv-marked-by-two-counters.json"
ADJUSTER = ROOT / "demo" / "recount" / "14-suv-as-the-adjuster-marked-it.json"
LABELS = PANEL_LABELS["us"]
MARGIN = 42.0


def tables_of(text: str) -> dict[str, dict[str, list[str]]]:
    """Tables of a report by their first heading; rows by panel, cells cut at columns."""
    found: dict[str, dict[str, list[str]]] = {}
    for block in text.split("\n\n"):
        lines = block.splitlines()
        head = re.split(r" {2,}", lines[0])
        if len(head) > 4:
            rows = [re.split(r" {2,}", line) for line in lines[1:]]
            found[head[0]] = {cells[0]: cells[1:] for cells in rows}
    return found


def at_odds() -> Recount:
    """Panels marked, sampled, beyond the matrix, in one count only, with nothing in common."""
    ours = claim(
        hood(*row(6, 100), dent(500, 300, 44)),
        hood(*row(3, 100)) | {"panel": "decklid"},
        sampled(25) | {"panel": "roof"},
        panel("fender-l", tally={"dime": 2001}),
        panel("fender-r"),
        claim={"estimator": "Åsa Müller-Łódź", "dated": "2026-05-30"},
    )
    theirs = claim(
        hood(*row(6, 100, start=2), dent(503, 300, 40)),
        hood(*row(3, 500)) | {"panel": "decklid"},
        panel("roof", tally={"dime": 900}),
        panel("fender-l", tally={"dime": 1990}),
        panel("door-fl", access="glue"),
        claim={"number": "C-2"},
    )
    return compared(ours, theirs)


# --- text -------------------------------------------------------------------------------------


def test_the_text_has_a_row_a_panel_with_counts_bands_money_and_a_verdict() -> None:
    found = demo_recount()
    rows = tables_of(recount_text(found))["Panel"]
    assert list(rows) == [*(LABELS[result.panel] for result in found.panels), "Claim, total"]
    for result in found.panels:
        cells = rows[LABELS[result.panel]]
        assert result.a is not None
        assert result.b is not None
        assert result.a.band is not None
        assert result.b.band is not None
        assert cells == [
            str(result.a.count.all),
            str(result.b.count.all),
            f"{result.b.count.all - result.a.count.all:+d}",
            f"up to {result.plausible}",
            "plausible" if result.within else "more than that",
            "–".join(map(str, result.a.band)),
            "–".join(map(str, result.b.band)),
            money_text(result.a.total, 2),
            money_text(result.b.total, 2),
            money_text(result.b.total - result.a.total, 2),
        ]
    assert rows["Claim, total"] == ["1168.02", "1061.31", "-106.71"]


def test_the_text_says_who_counted_when_and_under_which_matrix() -> None:
    head = recount_text(demo_recount()).splitlines()[:3]
    assert head == [
        "Recount of claim EF-2026-0014, suv; matrix larkspur-agreed-2026 revision 4",
        "A: Jorrit Fennimar, 2026-06-02",
        "B: Philippa Marrowgate, adjuster, 2026-06-05",
    ]
    nobody = recount_text(compared([panel()], [panel()])).splitlines()
    assert nobody[1:3] == ["A: no name given", "B: no name given"]


def test_the_texts_of_panels_that_can_not_be_compared_say_why() -> None:
    text = recount_text(at_odds())
    rows = tables_of(text)["Panel"]
    assert rows["Roof"][0] == "~300", "25 dents in a twelfth of the panel are an estimate"
    assert "beyond the sample's margin" in rows["Roof"]
    assert rows["Left fender"][-2:] != ["no price", "no price"]
    assert "no price" in rows["Left fender"]
    assert "beyond" in rows["Left fender"]
    assert rows["Right fender"][:2] == ["3", "-"]
    assert rows["Left front door"][:2] == ["-", "3"]
    assert "Right fender: not in B; not compared.\n" in text
    assert "Left front door: not in A; not compared.\n" in text
    assert "The claims have two numbers: C-1 and C-2." in text


def test_where_nothing_is_common_the_interval_has_no_upper_end() -> None:
    found = at_odds()
    text = recount_text(found)
    cells = tables_of(text)["Marked by both"]["Decklid"]
    by_name = {result.panel: result for result in found.panels}
    both = by_name["decklid"].marked
    assert both is not None
    assert cells == [
        "0", "3", "3", "0 %", "0 %", "-", f"{both.counts.lower} or more", "0 of 0", "-",
    ]  # fmt: skip
    data = {entry["panel"]: entry for entry in recount_json(found)["panels"]}
    assert data["decklid"]["marked"]["interval"] == [both.counts.lower, None]
    for key in ("kappa", "estimate", "chapman", "standard_error"):
        assert data["decklid"]["marked"][key] is None
    assert data["decklid"]["marked"]["would_cost"]["estimate"] is None
    assert data["decklid"]["marked"]["would_cost"]["union"] is not None
    assert "no dent is common to both" in text
    printed = "".join(page_texts(recount_pdf(found)))
    assert f"{both.counts.lower} or more" in printed


def test_an_incomplete_claim_is_not_totalled_as_if_it_were_whole() -> None:
    """A's fender is beyond the matrix: what the claim comes to is only what it comes to so far."""
    found = compared(
        [panel(), panel("fender-l", tally={"dime": 2001})],
        [panel(), panel("fender-l", tally={"dime": 1990})],
    )
    assert not found.a.totals.complete
    assert "so far" in "".join(page_texts(recount_pdf(found)))
    assert re.search(r"so far|incomplete", recount_text(found))


def test_a_panel_beyond_the_matrix_has_beyond_for_its_band_in_print_too() -> None:
    """A band left empty means that there were no dents."""
    found = compared([panel(tally={"dime": 2001})], [panel(tally={"dime": 1990})])
    assert "beyond" in tables_of(recount_text(found))["Panel"]["Hood"]
    assert "beyond" in "".join(page_texts(recount_pdf(found)))


def test_two_claims_without_a_panel_are_compared_to_nothing() -> None:
    found = compared(claim(), claim())
    assert "Neither has a panel." in recount_text(found)
    assert "Neither has a panel." in "".join(page_texts(recount_pdf(found)))
    assert recount_json(found)["panels"] == []


def test_counts_without_marks_have_no_table_of_marks() -> None:
    found = compared([panel()], [panel(tally={"dime": 4})])
    text = recount_text(found)
    assert list(tables_of(text)) == ["Panel"]
    assert "Chapman" not in text
    assert "careful counters" in text
    sample = recount_text(compared([sampled(25)], [sampled(25)]))
    assert "careful counters" not in sample


def test_what_the_figures_rest_on_and_what_they_are_not_is_said() -> None:
    text = recount_text(demo_recount())
    for words in (
        "each find 95 of 100 dents, independently",
        "common practice, no source",
        "Marks up to 15 mm apart",
        "Chapman 1951, Seber 1970",
        "holds if the two counted independently",
        "Cohen 1960",
        "not a decision",
    ):
        assert words in text
    other = compared([hood(*row(3, 9))], [hood(*row(3, 9))], gate_mm=7.5, found=Fraction(4, 5))
    assert "Marks up to 7.5 mm apart" in recount_text(other)
    assert "each find 80 of 100 dents" in recount_text(other)


def test_uk_labels_name_the_panels_in_text_and_on_paper() -> None:
    assert "Bonnet" in recount_text(demo_recount(), "uk")
    printed = "".join(page_texts(recount_pdf(demo_recount(), labels="uk")))
    assert "Bonnet" in printed
    assert "Hood" not in printed


# --- JSON -------------------------------------------------------------------------------------


def test_the_json_has_every_figure_of_the_comparison() -> None:
    found = demo_recount()
    data = json.loads(recount_json_text(found))
    assert (data["claim"], data["currency"], data["gate_mm"], data["found_percent"]) == (
        "EF-2026-0014", "USD", 15, "95",
    )  # fmt: skip
    assert data["counters"]["a"] == {
        "estimator": "Jorrit Fennimar", "total": "1168.02", "complete": True,
    }  # fmt: skip
    for entry, result in zip(data["panels"], found.panels, strict=True):
        assert result.a is not None
        assert result.b is not None
        assert entry["panel"] == result.panel
        assert entry["a"] == {
            "dents": result.a.count.all,
            "sampled": False,
            "band": list(result.a.band or ()),
            "total": money_text(result.a.total, 2),
        }
        assert entry["difference"] == result.b.count.all - result.a.count.all
        assert entry["plausible_difference"] == result.plausible
        assert entry["plausible"] == result.within
        if result.marked is None:
            assert "marked" not in entry
            continue
        both, counts, told = result.marked, result.marked.counts, entry["marked"]
        n1, n2, m = len(both.a), len(both.b), told["found_by_both"]
        assert (told["only_a"], told["only_b"]) == (n1 - m, n2 - m)
        assert told["union"] == n1 + n2 - m
        assert told["rate_a"] == f"{m / n2:.3f}"
        assert told["rate_b"] == f"{m / n1:.3f}"
        chapman = Fraction((n1 + 1) * (n2 + 1), m + 1) - 1
        assert told["chapman"] == f"{float(chapman):.3f}"
        # Seber 1970.
        seber = Fraction(
            (n1 + 1) * (n2 + 1) * (n1 - m) * (n2 - m), (m + 1) ** 2 * (m + 2)
        )  # fmt: skip
        assert told["standard_error"] == f"{float(seber) ** 0.5:.3f}"
        assert told["interval"] == [counts.lower, counts.upper]
        assert told["would_cost"] == {
            "a": money_text(result.a.total, 2),
            "b": money_text(result.b.total, 2),
            "union": money_text(both.total_union or 0, 2),
            "estimate": money_text(both.total_estimate or 0, 2),
        }


def test_the_json_refers_to_marks_by_their_numbers_in_each_claim_file() -> None:
    files = [json.loads(path.read_text("utf-8")) for path in (SHOP, ADJUSTER)]
    ours, theirs = (
        {part["panel"]: part.get("dents", []) for part in data["panels"]} for data in files
    )
    for entry in recount_json(demo_recount())["panels"]:
        told = entry.get("marked")
        if told is None:
            continue
        name = entry["panel"]
        for i, j in told["pairs"]:
            a, b = ours[name][i], theirs[name][j]
            assert (a["x"] - b["x"]) ** 2 + (a["y"] - b["y"]) ** 2 <= 15**2
        used = Counter([i for i, _ in told["pairs"]] + told["marks_only_a"])
        assert used == Counter(range(len(ours[name])))
        used = Counter([j for _, j in told["pairs"]] + told["marks_only_b"])
        assert used == Counter(range(len(theirs[name])))


def test_what_is_missing_or_without_a_price_is_null_in_the_json() -> None:
    data = {entry["panel"]: entry for entry in recount_json(at_odds())["panels"]}
    assert data["door-fl"]["a"] is None
    assert data["fender-r"]["b"] is None
    for name in ("door-fl", "fender-r"):
        assert data[name]["difference"] is None
        assert data[name]["plausible"] is None
    assert data["fender-l"]["a"]["total"] is None
    assert data["fender-l"]["a"]["band"] is None
    assert data["fender-l"]["b"]["total"] is not None
    assert data["roof"]["a"]["sampled"] is True
    assert data["roof"]["plausible_difference"] is None
    assert data["roof"]["plausible"] is False


def whole_percent(part: int, of: int) -> str:
    """A share in whole percent, a half away from zero, as everything is rounded here."""
    share = Decimal(100 * part) / Decimal(of)
    return f"{share.quantize(Decimal(1), ROUND_HALF_UP)} %"


@settings(max_examples=examples(25))
@given(two_hoods())
def test_text_and_json_say_the_same(pair: tuple[Table, Table]) -> None:
    ours, theirs = pair
    found = compared([ours, panel("roof")], [theirs, panel("roof", tally={"dime": 5})])
    data = json.loads(recount_json_text(found))
    tables = tables_of(recount_text(found))
    for entry in data["panels"]:
        cells = tables["Panel"][LABELS[entry["panel"]]]
        assert cells[:2] == [str(entry[side]["dents"]) for side in "ab"]
        assert cells[2] == f"{entry['difference']:+d}"
        assert cells[3] == f"up to {entry['plausible_difference']}"
        money = [entry[side]["total"] for side in "ab"]
        assert cells[-3:-1] == money
        assert Fraction(cells[-1]) == Fraction(money[1]) - Fraction(money[0])
    told = data["panels"][0]["marked"]
    cells = tables["Marked by both"]["Hood"]
    assert cells[:3] == [str(told[key]) for key in ("found_by_both", "only_a", "only_b")]
    assert cells[3] == whole_percent(told["found_by_both"], len(theirs["dents"]))
    assert cells[4] == whole_percent(told["found_by_both"], len(ours["dents"]))
    assert cells[5] == ("-" if told["estimate"] is None else f"about {told['estimate']}")
    low, high = told["interval"]
    assert cells[6] == (f"{low} or more" if high is None else f"{low}–{high}")
    assert cells[7] == f"{told['same_size']} of {told['found_by_both']}"
    costs = tables["Would cost, USD"]["Hood"]
    for cost, key in zip(costs, ("a", "b", "union", "estimate"), strict=True):
        if told["would_cost"][key] is not None:
            assert cost == told["would_cost"][key]
    last = tables["Panel"]["Claim, total"]
    assert last[:2] == [data["counters"][side]["total"] for side in "ab"]
    assert Fraction(last[2]) == Fraction(last[1]) - Fraction(last[0])


def test_the_sums_of_the_marked_panels_are_the_sums_of_their_rows() -> None:
    rows = tables_of(recount_text(demo_recount()))["Would cost, USD"]
    total = rows.pop("These panels")
    for column, printed in enumerate(total):
        assert sum(Fraction(cells[column]) for cells in rows.values()) == Fraction(printed)


def test_yen_have_no_decimals_and_euro_are_written_the_matrixs_way() -> None:
    for currency, locale, decimals in (("JPY", "ja_JP", 0), ("EUR", "de_DE", 2)):
        rules = long_bands()
        rules["matrix"] |= {"currency": currency, "locale": locale}
        rules |= {"rates": {"repair": "9000", "removal": "60"}}
        found = compared([hood(*row(9, 100))], [hood(*row(8, 100))], rules)
        result = found.panels[0]
        assert result.a is not None
        assert result.marked is not None
        rows = tables_of(recount_text(found))
        assert rows["Panel"]["Hood"][-3] == money_text(result.a.total, decimals)
        assert rows[f"Would cost, {currency}"]["Hood"][2] == money_text(
            result.marked.total_union or 0, decimals
        )
        printed = "".join(page_texts(recount_pdf(found)))
        units = result.a.total // 10**decimals
        grouped = f"{units:,}".replace(",", "." if locale == "de_DE" else ",")
        assert grouped + (",00" if decimals else "") in printed


# --- pages ------------------------------------------------------------------------------------


def box_of(piece: Fragment) -> Box:
    lead = len(piece.text) - len(piece.text.lstrip(" "))
    assert lead == 0
    foot, top = piece.y - 0.22 * piece.size, piece.y + 0.76 * piece.size
    return Box(piece.x, piece.right, foot, top, piece.text)


def faults(pdf: bytes, paper: str) -> list[str]:
    """Texts over texts, off the paper's text, or with a line or a mark through them."""
    width, height = PAPERS[paper]
    found: list[str] = []
    pieces = fragments(pdf)
    painted = ink(pdf)
    for page in range(1, len(PdfReader(BytesIO(pdf)).pages) + 1):
        boxes = [box_of(piece) for piece in pieces if piece.page == page and piece.text.strip()]
        found += [f"page {page}: {a.text!r} over {b.text!r}" for a, b in overlaps(boxes)]
        for box in boxes:
            if box.left < MARGIN - 0.5 or box.right > width - MARGIN + 0.5:
                found.append(f"page {page}: {box.text!r} from {box.left:.0f} to {box.right:.0f}")
            if box.foot < 28 or box.top > height - 30:
                found.append(f"page {page}: {box.text!r} at {box.foot:.0f}")
        for path in painted:
            if path.page != page or path.ways.startswith("r"):
                continue
            left, bottom, right, top = path.box
            for box in boxes:
                if is_mark(path):
                    through = (
                        min(right, box.right) - max(left, box.left) > 0.5
                        and min(top, box.top) - max(bottom, box.foot) > 0.5
                    )
                else:
                    through = any(
                        box.left + 0.5 < x < box.right - 0.5 and box.foot + 0.5 < y < box.top - 0.5
                        for x, y in path.points
                    )
                if through:
                    found.append(f"page {page}: a {path.ways} through {box.text!r}")
            if right > width - MARGIN + 12 or left < MARGIN - 12 or bottom < 30:
                found.append(f"page {page}: a {path.ways} at {left:.0f}, {bottom:.0f}")
    return found


def is_triangle(path: Ink) -> bool:
    return path.ways == "mllh" and path.fill == 1.0


def is_black_square(path: Ink) -> bool:
    return path.ways == "mlllh" and path.fill == 0.0


def is_mark(path: Ink) -> bool:
    return is_circle(path) or is_triangle(path) or is_black_square(path)


def kinds(pdf: bytes) -> tuple[int, int, int]:
    """Discs, triangles and squares on the pages, the legend's taken off."""
    painted = ink(pdf)
    counted = (
        sum(is_circle(path) and path.fill == 0.6 for path in painted),
        sum(map(is_triangle, painted)),
        sum(map(is_black_square, painted)),
    )
    discs, triangles, squares = (number - 1 for number in counted)
    return discs, triangles, squares


@pytest.mark.parametrize("paper", ["letter", "a4"])
def test_marks_found_by_both_only_by_a_and_only_by_b_are_of_three_shapes(paper: str) -> None:
    found = [result.marked for result in demo_recount().panels if result.marked]
    assert kinds(recount_pdf(demo_recount(), paper=paper)) == (
        sum(both.counts.both for both in found),
        sum(both.counts.only_a for both in found),
        sum(both.counts.only_b for both in found),
    )


def test_each_mark_is_drawn_at_its_place_a_pair_at_as() -> None:
    ours = [dent(100, 100, 30), dent(500, 300, 30)]
    theirs = [dent(104, 103, 30), dent(800, 400, 30)]
    painted = ink(recount_pdf(compared([hood(*ours)], [hood(*theirs)])))
    (ring,) = [path for path in painted if path.width == 0.9 and path.fill is None]
    left, bottom, right, _ = ring.box
    scale = (right - left) / 1000
    _, disc = [path for path in painted if is_circle(path)]
    _, triangle = [path for path in painted if is_triangle(path)]
    _, square = [path for path in painted if is_black_square(path)]
    for path, (x, y) in ((disc, (100, 100)), (square, (800, 400))):
        a, b, c, d = path.box
        assert ((a + c) / 2, (b + d) / 2) == pytest.approx(
            (left + x * scale, bottom + y * scale), abs=0.02
        )
    middle = [sum(axis) / 3 for axis in zip(*triangle.points, strict=True)]
    assert middle == pytest.approx([left + 500 * scale, bottom + 300 * scale], abs=0.02)
    a, _, c, _ = disc.box
    assert (c - a) / 2 == pytest.approx(15 * scale, abs=0.02), "as large as the dent"


def test_the_legend_names_the_three_shapes_and_each_drawing_its_numbers() -> None:
    printed = " ".join(page_texts(recount_pdf(demo_recount())))
    for words in ("found by both", "only by A", "only by B"):
        assert words in printed
    for result in demo_recount().panels:
        if result.marked is not None:
            counts = result.marked.counts
            told = f"{counts.both} both, {counts.only_a} only A, {counts.only_b} only B"
            assert told in printed


ZONE_WORDS = ["braced", "glue-only", "edge", "body line"]


def test_the_legend_lists_the_zones_that_occur_and_no_others() -> None:
    def told(found: Recount) -> list[str]:
        return [p.text for p in fragments(recount_pdf(found)) if p.text in ZONE_WORDS]

    assert sorted(told(demo_recount())) == sorted(ZONE_WORDS)
    plain = hood(*row(3, 100))
    assert told(compared([plain], [plain])) == []
    edged = plain | {"zones": [{"kind": "edge", "reach_mm": 20}]}
    assert told(compared([edged], [edged])) == ["edge"]
    said = "Generic outlines, no maker's drawing."
    assert said in " ".join(page_texts(recount_pdf(demo_recount())))
    assert said not in " ".join(page_texts(recount_pdf(compared([plain], [plain]))))


@pytest.mark.parametrize("paper", ["letter", "a4"])
def test_the_pages_say_what_the_text_says(paper: str) -> None:
    for found in (demo_recount(), at_odds()):
        printed = re.sub(r"\s", "", "".join(page_texts(recount_pdf(found, paper=paper))))
        tables = tables_of(recount_text(found))
        for table in ("Marked by both", "Panel"):
            for cells in tables[table].values():
                for cell in cells:
                    # Money has the locale's grouping on paper, a minus of its own, and a dash.
                    if not re.fullmatch(r"[-~]?[0-9.]*", cell):
                        assert re.sub(r"\s", "", cell) in printed, (table, cell)
        for remark in recount_text(found, labels="us").split("\n\n")[-1].splitlines():
            assert re.sub(r"\s", "", remark) in printed


def test_the_pages_name_claim_counters_dates_and_totals() -> None:
    printed = " ".join(" ".join(page_texts(recount_pdf(demo_recount()))).split())
    assert "Claim EF-2026-0014, suv" in printed
    assert "A: Jorrit Fennimar, Jun 2, 2026. The whole claim comes to $1,168.02." in printed
    assert "B: Philippa Marrowgate, adjuster, Jun 5, 2026." in printed


@pytest.mark.parametrize("paper", ["letter", "a4"])
def test_the_same_two_counts_give_the_same_bytes(paper: str) -> None:
    first = recount_pdf(demo_recount(), paper=paper)
    assert first == recount_pdf(demo_recount(), paper=paper)
    printed, computed = seals(first) or ("", "-")
    assert printed == computed
    other = recount_pdf(demo_recount(swapped=True), paper=paper)
    assert other != first


@pytest.mark.parametrize("paper", ["letter", "a4"])
def test_pages_have_the_papers_size_and_are_numbered(paper: str) -> None:
    pdf = recount_pdf(demo_recount(), paper=paper)
    pages = PdfReader(BytesIO(pdf)).pages
    for number, (page, text) in enumerate(zip(pages, page_texts(pdf), strict=True), 1):
        assert (float(page.mediabox.width), float(page.mediabox.height)) == PAPERS[paper]
        assert f"Page {number} of {len(pages)}" in text
    for path in ink(pdf):
        assert path.stroke is None or 0 <= path.stroke <= 1, "grey, never colour"


@pytest.mark.parametrize("paper", ["letter", "a4"])
def test_a_recount_of_one_panel_is_one_page(paper: str) -> None:
    found = compared([hood(*row(9, 100))], [hood(*row(9, 100, start=2))])
    pdf = recount_pdf(found, paper=paper)
    assert len(page_texts(pdf)) == 1
    assert faults(pdf, paper) == []
    tallied = compared([panel()], [panel(tally={"dime": 4})])
    assert len(page_texts(recount_pdf(tallied, paper=paper))) == 1


@cache
def twenty_panels() -> Recount:
    """Every panel of a pickup marked by both; no body has twenty, so five are there twice."""
    parts = [name for name in PANELS if name in PANELS_OF_BODY["pickup"]]
    ours = [marked_panel("pickup", name, 9) for name in parts]
    theirs = [part | {"dents": part["dents"][2:]} for part in ours]
    found = compared(claim(*ours, body="pickup"), claim(*theirs, body="pickup"))
    return found._replace(panels=(*found.panels, *found.panels)[:20])


@pytest.mark.parametrize("paper", ["letter", "a4"])
def test_nothing_overlaps_on_a_recount(paper: str) -> None:
    for found in (demo_recount(), at_odds(), twenty_panels()):
        assert faults(recount_pdf(found, paper=paper), paper) == []


def test_twenty_panels_are_all_listed_and_all_drawn() -> None:
    found = twenty_panels()
    pdf = recount_pdf(found)
    rings = [path for path in ink(pdf) if path.width == 0.9 and path.ways.startswith("mll")
             and path.fill is None]  # fmt: skip
    assert len(rings) == 20
    assert len(page_texts(pdf)) <= 6
    discs, triangles, squares = kinds(pdf)
    assert (discs, triangles, squares) == (20 * 7, 20 * 2, 0)


@pytest.mark.parametrize("mm", [20, 30, 45])
def test_a_mark_at_the_very_border_covers_no_text(mm: int) -> None:
    ours = [dent(30, 595, mm), dent(30, 5, mm), dent(500, 300)]
    pdf = recount_pdf(compared([hood(*ours)], [hood(dent(500, 300), dent(975, 595, mm))]))
    assert faults(pdf, "letter") == []


def test_sums_in_the_millions_keep_to_their_columns() -> None:
    rules = long_bands()
    rules["matrix"] |= {"currency": "JPY", "locale": "ja_JP"}
    rules |= {"rates": {"repair": "9999999", "removal": "60"}}
    found = compared([hood(*row(20, 100))], [hood(*row(18, 100))], rules)
    for paper in PAPERS:
        assert faults(recount_pdf(found, paper=paper), paper) == []


def test_long_names_wrap_and_keep_to_the_page() -> None:
    name = "Wolkenbruchschädenabwicklungsgesellschaft " * 4
    header = {"estimator": name.strip(), "number": "W" * 60, "dated": "2026-05-30"}
    ours, theirs = (claim(hood(*row(3, 100)), claim=header) for _ in "ab")
    pdf = recount_pdf(compared(ours, theirs))
    assert faults(pdf, "letter") == []
    assert re.sub(r"\s", "", name) in re.sub(r"\s", "", "".join(page_texts(pdf)))


def test_a_name_in_letters_that_the_fonts_lack_is_refused_with_its_place() -> None:
    ours = claim(panel(), claim={"estimator": "Ñuñoa Łódź"})
    theirs = claim(panel(), claim={"estimator": "雹 Bao", "number": "Ж-1"})
    with pytest.raises(InputError) as caught:
        recount_pdf(compared(ours, theirs))
    told = [(problem.file, problem.place) for problem in caught.value.problems]
    assert sorted(told) == [("B", "claim.estimator"), ("B", "claim.number")]
    assert all("Latin letters" in problem.expected for problem in caught.value.problems)


# --- the command ------------------------------------------------------------------------------


def test_the_command_prints_the_text_and_writes_both_files(tmp_path: Path) -> None:
    """A process of its own, so the bytes depend on no hash seed."""
    ran = hailcalc(
        "recount", SHOP, ADJUSTER, "--pdf", tmp_path / "r.pdf", "--json", tmp_path / "r.json",
        "--paper", "a4",
    )  # fmt: skip
    assert (ran.returncode, ran.stderr) == (DONE, "")
    assert ran.stdout == recount_text(demo_recount())
    assert all(line == line.rstrip() for line in ran.stdout.splitlines())
    assert (tmp_path / "r.json").read_text("utf-8") == recount_json_text(demo_recount())
    assert (tmp_path / "r.pdf").read_bytes() == recount_pdf(demo_recount(), paper="a4")
    assert names(tmp_path) == ["r.json", "r.pdf"]
    told = {
        entry["panel"]: entry["marked"]["interval"]
        for entry in json.loads((tmp_path / "r.json").read_text("utf-8"))["panels"]
        if "marked" in entry
    }
    for name, there in TRUTH.items():
        low, high = told[name]
        assert low <= there <= high


def test_gate_found_matrix_and_labels_can_be_chosen() -> None:
    ran = hailcalc(
        "recount", SHOP, ADJUSTER, "--gate", "7.5", "--found", "80",
        "--matrix", "copperfin-2026", "--labels", "uk",
    )  # fmt: skip
    assert (ran.returncode, ran.stderr) == (DONE, "")
    first, second = take_in_two(SHOP, ADJUSTER, "copperfin-2026")
    expected = recount(
        first.claim, second.claim, first.compiled, gate_mm=7.5, found=Fraction(80, 100)
    )
    assert ran.stdout == recount_text(expected, "uk")


@pytest.mark.parametrize(
    ("option", "value"),
    [("--gate", "0"), ("--gate", "nan"), ("--found", "100")],
)
def test_a_gate_or_a_share_that_can_not_be_is_refused(option: str, value: str) -> None:
    ran = hailcalc("recount", SHOP, ADJUSTER, option, value)
    assert (ran.returncode, ran.stdout) == (BAD_INPUT, "")
    assert option in ran.stderr
    assert "Traceback" not in ran.stderr


def test_both_reports_into_one_file_is_a_mistake_however_it_is_written(tmp_path: Path) -> None:
    ran = hailcalc("recount", SHOP, ADJUSTER, "--pdf", "r", "--json", tmp_path / "r", cwd=tmp_path)
    assert (ran.returncode, ran.stdout) == (BAD_INPUT, "")
    assert "a file for each" in ran.stderr
    assert names(tmp_path) == []


def test_both_reports_into_one_file_by_a_detour_is_a_mistake_too(tmp_path: Path) -> None:
    (tmp_path / "deep").mkdir()
    ran = hailcalc(
        "recount", SHOP, ADJUSTER, "--pdf", "deep/../r", "--json", "r",
        cwd=tmp_path, HAILCALC_MATRICES=str(MATRICES),
    )  # fmt: skip
    assert ran.returncode == BAD_INPUT
    assert names(tmp_path) == ["deep"]


def test_if_one_report_can_not_be_written_neither_is(tmp_path: Path) -> None:
    (tmp_path / "r.json").mkdir()
    ran = hailcalc(
        "recount", SHOP, ADJUSTER, "--pdf", tmp_path / "r.pdf", "--json", tmp_path / "r.json"
    )
    assert (ran.returncode, ran.stdout) == (BAD_INPUT, "")
    assert f"{tmp_path / 'r.json'}: found is a directory" in ran.stderr
    assert names(tmp_path) == ["r.json"]


def test_mistakes_of_both_files_come_together_each_under_its_own_name(tmp_path: Path) -> None:
    ours = claim(hood(dent(100, 100), dent(1200, 100)), matrix="copperfin-2026")
    theirs = claim(panel(tally={"dime": -3}), panel("roof", tally={"pebble": 3}))
    written(tmp_path / "shop.json", ours)
    written(tmp_path / "adjuster.json", theirs)
    ran = hailcalc(
        "recount", "shop.json", "adjuster.json", "--json", "r.json",
        cwd=tmp_path, HAILCALC_MATRICES=str(MATRICES),
    )  # fmt: skip
    assert (ran.returncode, ran.stdout) == (BAD_INPUT, "")
    lines = ran.stderr.splitlines()
    assert lines[0].startswith("shop.json: panels[0].dents[1]: found a mark at 1200, 100, 200.0 mm")
    assert any(line.startswith("adjuster.json: panels[0].tally.dime: ") for line in lines)
    assert any(line.startswith("adjuster.json: panels[1].tally.pebble: ") for line in lines)
    assert names(tmp_path) == ["adjuster.json", "shop.json"]


def test_another_vehicle_is_refused_naming_the_second_file(tmp_path: Path) -> None:
    other = ROOT / "demo" / "claims" / "13-hatch-counted-by-marks.json"
    ran = hailcalc("recount", SHOP, other, "--pdf", tmp_path / "r.pdf")
    assert (ran.returncode, ran.stdout) == (BAD_INPUT, "")
    assert f'{other}: vehicle.body: found "hatch", expected "suv", as in A' in ran.stderr
    assert f"{other}: vehicle.vin: " in ran.stderr
    assert names(tmp_path) == []


def test_a_name_that_can_not_be_printed_is_refused_naming_the_file(tmp_path: Path) -> None:
    data: dict[str, Any] = json.loads(ADJUSTER.read_text("utf-8"))
    data["claim"]["estimator"] = "雹"
    written(tmp_path / "b.json", data)
    ran = hailcalc(
        "recount", SHOP, "b.json", "--pdf", "r.pdf", "--json", "r.json",
        cwd=tmp_path, HAILCALC_MATRICES=str(MATRICES),
    )  # fmt: skip
    assert (ran.returncode, ran.stdout) == (BAD_INPUT, "")
    assert "b.json: claim.estimator: found 雹" in ran.stderr
    assert names(tmp_path) == ["b.json"]


def test_a_matrix_that_is_not_there_is_told_once() -> None:
    with pytest.raises(InputError) as caught:
        take_in_two(SHOP, ADJUSTER, "nobody-2026")
    assert len(caught.value.problems) == 1


def marks_file(folder: Path, name: str, panels: list[Table]) -> Path:
    """Dents of claim-file panels as CSV, or as GeoJSON by the name's ending."""
    dents = [(part["panel"], one) for part in panels for one in part.get("dents", [])]
    path = folder / name
    if name.endswith(".csv"):
        rows = [f"{panel_},{one['mm']},{one['x']},{one['y']}" for panel_, one in dents]
        path.write_text("\n".join(["panel,mm,x,y", *rows]) + "\n")
        return path
    features = [
        {
            "type": "Feature",
            "geometry": {"type": "Point", "coordinates": [one["x"], one["y"]]},
            "properties": {"panel": panel_, "mm": one["mm"]},
        }
        for panel_, one in dents
    ]
    return written(path, {"type": "FeatureCollection", "features": features})


@pytest.mark.parametrize("name", ["b.csv", "b.geojson"])
def test_the_second_count_may_be_dents_alone(tmp_path: Path, name: str) -> None:
    """As they come off a tablet: the rest of the claim is taken from the first count."""
    theirs = json.loads(ADJUSTER.read_text("utf-8"))["panels"]
    first, second = take_in_two(SHOP, marks_file(tmp_path, name, theirs))
    found = recount(first.claim, second.claim, first.compiled)
    whole = {result.panel: result for result in demo_recount().panels}
    for result in found.panels:
        if result.marked is None:
            assert result.b is None
            assert f"{result.panel}: not in B; not compared." in found.notes
        else:
            assert result.marked == whole[result.panel].marked
            assert result.b is not None
            assert result.b.total == (whole[result.panel].b or result.b).total
    assert {result.panel for result in found.panels if result.marked} == TRUTH.keys()
    assert found.b.claim.claim.estimator is None, "A's estimator did not count this"


def test_mistakes_in_a_file_of_dents_name_it_and_the_panel(tmp_path: Path) -> None:
    dents = [dent(100, 100), dent(9000, 100)]
    marks = marks_file(tmp_path, "b.csv", [{"panel": "roof", "dents": dents},
                                           {"panel": "tailgate", "dents": dents[:1]}])  # fmt: skip
    with pytest.raises(InputError) as caught:
        take_in_two(SHOP, marks)
    places = {(Path(problem.file).name, problem.place) for problem in caught.value.problems}
    assert ("b.csv", "panel roof.dents[1]") in places
    assert ("b.csv", "panel tailgate.panel") in places
    assert {name for name, _ in places} == {"b.csv"}


def test_mistakes_of_the_first_file_are_told_once_beside_those_of_a_file_of_dents(
    tmp_path: Path,
) -> None:
    bad = claim(panel(tally={"dime": -1}), matrix="copperfin-2026")
    first = written(tmp_path / "a.json", bad)
    second = tmp_path / "b.csv"
    second.write_text("panel,mm,x,y\nhood,wide,100,100\n")
    with pytest.raises(InputError) as caught:
        take_in_two(first, second)
    told = sorted((Path(problem.file).name, problem.place) for problem in caught.value.problems)
    assert told == [("a.json", "panels[0].tally.dime"), ("b.csv", "line 2.mm")]


def test_as_matrix_prices_both_whatever_b_names(tmp_path: Path) -> None:
    data = json.loads(ADJUSTER.read_text("utf-8")) | {"matrix": "copperfin-2026"}
    first, second = take_in_two(SHOP, written(tmp_path / "b.json", data))
    assert first.compiled.matrix.name == second.compiled.matrix.name == "larkspur-agreed-2026"
    found = recount(first.claim, second.claim, first.compiled)
    assert found.b.totals == demo_recount().b.totals


def test_the_help_has_an_example() -> None:
    ran = hailcalc("recount", "--help")
    assert ran.returncode == DONE
    assert "Example: hailcalc recount shop.json adjuster.json" in " ".join(ran.stdout.split())
