"""The claim sheet as people see it: what is printed, where it stands, and that all of it is there.

Texts and places are read back from the finished file with pypdf; for overlaps, which need the
extent of every text, the page setter's own marks are measured. Points, origin bottom left.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from io import BytesIO
from math import cos, hypot, pi, sin
from typing import Any

import pikepdf
import pytest
from hypothesis import HealthCheck, given, settings
from pypdf import PdfReader

from hailcalc.cautions import CAUTIONS
from hailcalc.estimate import Estimate
from hailcalc.problems import InputError
from hailcalc.sheet import pdf as drawing
from hailcalc.sheet.document import sheet_json, sheet_text
from hailcalc.sheet.fonts import faces
from hailcalc.sheet.layout import CircleMark, Flow, Mark, PathMark, RuleMark, TextMark
from hailcalc.sheet.locale import writer
from hailcalc.sheet.pdf import PAPERS, sheet_pdf
from hailcalc.vehicle import PANEL_LABELS
from tests.builders import (
    DEMO,
    FULLEST,
    PICKUP,
    ROOT,
    SEDAN,
    SMALLEST,
    Table,
    claim,
    demo_estimate,
    demo_sheet,
    estimate,
    matrix,
    page_texts,
    panel,
    removal_and_tax,
)
from tests.effort import examples
from tests.strategies import priced_together

MARGIN = 42.0

# --- claims that strain a page ----------------------------------------------------------------

WORDS = "Ölgötz Wąsoń & Søn, the hail line behind the old mill, second yard on the left, ring twice"
LONG_WITH_BLANKS = (WORDS + "; " + WORDS + "; " + WORDS)[:199] + "x"
LONG_WITHOUT_BLANKS = "Wolkenbruchschädenabwicklungsgesellschaft" * 4 + "m" * 36
LONG_NOTE = (WORDS + ". ") * 25
assert len(LONG_WITH_BLANKS) == len(LONG_WITHOUT_BLANKS) == 200


def own_coins(count: int) -> list[Table]:
    """Coins with names as long as they may be."""
    return [
        {"name": f"gauge disc {k:02} of the own board", "mm": str(8 + 2 * k), "source": "own gauge"}
        for k in range(count)
    ]


def many_sizes(count: int) -> Table:
    """A matrix of so many columns."""
    coins = own_coins(count)
    rows = [[20 + k for k in range(count)], [40 + 2 * k for k in range(count)]]
    grid = matrix()["grid"][0] | {"rows": rows}
    header = {"coins": coins, "columns": [coin["name"] for coin in coins]}
    return matrix(matrix=header, grid=[grid])


def all_marks() -> Table:
    marks = {mark: {"dime": 2} for mark in ("braced", "glue-only", "body-line", "sharp", "edge")}
    return {"tally": {"dime": 9, "half-dollar": 8}, "marked": marks, "oversize": [{"mm": 44.125}]}


def wordy(text: str) -> Table:
    """A claim with one text wherever a text may stand, as long as it may be there."""
    return claim(
        panel("hood", note=(text * 10)[:2000], **all_marks()),
        panel("roof", access="replace", replace_cost="10.00", note=text),
        panel("door-fl", metal="aluminium", repainted=True, access="glue"),
        claim={
            "number": text[:60],
            "insurer": text,
            "customer": text,
            "estimator": text,
            "dated": "2026-05-30",
            "loss_location": {"lat": -44.123456789, "lon": -179.123456789},
        },
        vehicle={"vin": "0ZZHAL017TE000001", "description": text, "value": "18500.00"},
        shop={"name": text, "address": text, "contact": text, "licence": text},
        other=[{"kind": "sublet", "label": text, "unit_price": "10.00"}],
    )


def wordy_matrix(text: str) -> Table:
    more = removal_and_tax()
    more["removal"][0]["label"] = text
    extra = {"id": "metal", "label": text, "when": {"metal": "aluminium"}, "percent": "20"}
    return matrix(
        matrix={"title": text, "insurer": text, "name": "m" * 60, "until": "2027-02-28"},
        extra=[extra, {"id": "look", "label": text, "of": "vehicle", "percent": "-2.5"}],
        **more,
    )


def billions(currency: str, locale: str, decimals: int) -> tuple[Table, Table]:
    most = "9999999999" + ("." + "9" * decimals if decimals else "")
    zeros = "0" if not decimals else "0." + "0" * decimals
    claim_data = claim(
        panel("hood", agreed=most),
        panel("roof", access="replace", replace_cost=most),
        claim={"deductible": most},
        vehicle={"value": most},
        other=[{"kind": "part", "label": "Gold trim", "quantity": 1, "unit_price": most}],
    )
    header = {"currency": currency, "locale": locale, "minimum": zeros}
    more = removal_and_tax()
    more["removal"][0]["fastener_price"] = "110"
    return claim_data, matrix(matrix=header, rates={"repair": most, "removal": most}, **more)


def many_lines() -> Table:
    oversize = [{"mm": 31 + number / 8, "marks": ["braced"]} for number in range(200)]
    return claim(panel("hood", tally={"dime": 5}, oversize=oversize), panel("roof"))


STRAINS: dict[str, tuple[Table, Table]] = {
    "no panel": (claim(), matrix()),
    "one panel": (claim(panel()), matrix()),
    "three lines": (claim(panel("hood"), panel("roof"), panel("decklid")), matrix()),
    "every panel of a sedan": (claim(*(panel(name) for name in SEDAN)), matrix()),
    "every panel of a pickup": (
        claim(*(panel(name, **all_marks()) for name in PICKUP), body="pickup"),
        matrix(**removal_and_tax()),
    ),
    "two hundred oversize dents": (many_lines(), matrix()),
    "long texts with blanks": (wordy(LONG_WITH_BLANKS), wordy_matrix(LONG_WITH_BLANKS)),
    "long texts without blanks": (wordy(LONG_WITHOUT_BLANKS), wordy_matrix(LONG_WITHOUT_BLANKS)),
    "a long note": (claim(panel(note=LONG_NOTE[:2000])), matrix()),
    "one size": (
        claim(panel(tally={own_coins(1)[0]["name"]: 4}, oversize=[{"mm": 30}])),
        many_sizes(1),
    ),
    "twenty sizes": (
        claim(panel(tally={coin["name"]: 3 for coin in own_coins(20)}, oversize=[{"mm": 60}])),
        many_sizes(20),
    ),
    "billions of dollars": billions("USD", "en_US", 2),
    "billions of euro": billions("EUR", "de_DE", 2),
    "billions of yen": billions("JPY", "ja_JP", 0),
    "billions of dinar": billions("KWD", "en_US", 3),
    "billions of kronor": billions("SEK", "sv_SE", 2),
    "more panels without a price than with": (
        claim(*(panel(name, tally={"dime": 61}) for name in SEDAN[:9]), panel("rail-l")),
        matrix(),
    ),
}


@cache
def strained(name: str) -> Estimate:
    return estimate(*STRAINS[name])


# --- reading pages back -----------------------------------------------------------------------


@dataclass(frozen=True)
class Fragment:
    """A string that a page draws in one go."""

    page: int
    x: float
    y: float
    text: str
    bold: bool
    size: float

    @property
    def right(self) -> float:
        face = faces()["SheetBold" if self.bold else "SheetRegular"]
        return self.x + face.width(self.text, self.size)


def fragments(pdf: bytes) -> list[Fragment]:
    """Everything drawn, in the order in which it is drawn."""
    found: list[Fragment] = []
    for number, page in enumerate(PdfReader(BytesIO(pdf)).pages, 1):

        def visit(
            text: str, cm: Any, tm: Any, font: Any, size: float, number: int = number
        ) -> None:
            if text.strip():
                bold = "SemiBold" in str(font["/BaseFont"])
                found.append(Fragment(number, tm[4], tm[5], text.rstrip("\n"), bold, size))

        page.extract_text(visitor_text=visit)
    return found


def near(a: float, b: float) -> bool:
    return abs(a - b) < 0.1


@dataclass
class PrintedLine:
    """A line of the sheet, gathered from its pieces; texts without their blanks."""

    number: int
    label: str = ""
    because: str = ""
    amount: str = ""


def printed_lines(pdf: bytes) -> list[PrintedLine]:
    """The numbered lines, by where their columns stand."""
    found: list[PrintedLine] = []
    edge = float(PdfReader(BytesIO(pdf)).pages[0].mediabox.width) - MARGIN - 2.5
    for piece in fragments(pdf):
        text = re.sub(r"\s", "", piece.text)
        if near(piece.right, 63.5) and near(piece.size, 7.5) and text.isdigit():
            found.append(PrintedLine(int(text)))
        elif piece.text.startswith("Refit in reverse") or piece.text == "Totals":
            if piece.text == "Totals":
                break
        elif not found:
            continue
        elif near(piece.x, 68.5) and near(piece.size, 8.5):
            found[-1].label += text
        elif near(piece.x, 208.5) and near(piece.size, 7.5) and not piece.bold:
            found[-1].because += text
        elif near(piece.right, edge) and near(piece.size, 8.5):
            found[-1].amount += text
    return found


def without_blanks(text: str) -> str:
    return re.sub(r"\s", "", text)


def words(pdf: bytes) -> str:
    return " ".join(" ".join(page_texts(pdf)).split())


# --- what is printed --------------------------------------------------------------------------


@pytest.mark.parametrize("paper", ["letter", "a4"])
@pytest.mark.parametrize("name", [*DEMO, "two hundred oversize dents", "every panel of a pickup"])
def test_every_line_is_printed_once_with_its_label_and_its_amount(name: str, paper: str) -> None:
    priced = demo_estimate(name) if name in DEMO else strained(name)
    tables = priced.compiled.tables
    write = writer(priced.compiled.matrix.matrix.locale, tables.currency, tables.decimals)
    printed = printed_lines(sheet_pdf(priced, paper=paper))
    assert [line.number for line in printed] == list(range(1, len(priced.lines) + 1))
    for line, seen in zip(priced.lines, printed, strict=True):
        assert seen.label == without_blanks(line.label)
        amount = "no price yet" if line.amount is None else write.amount(line.amount)
        assert seen.amount == without_blanks(amount)


@pytest.mark.parametrize("name", [SMALLEST, "06-pickup-braced-and-glue-only", FULLEST])
def test_every_line_prints_the_words_and_the_figures_that_make_it(name: str) -> None:
    signs = str.maketrans({"*": "×", "/": "÷", "-": "−"})
    priced = demo_estimate(name)
    for line, seen in zip(priced.lines, printed_lines(sheet_pdf(priced)), strict=True):
        expected = without_blanks(line.words[0].upper() + line.words[1:])
        if re.search(r"[-+*/]", line.formula):
            expected += "=" + without_blanks(line.formula).translate(signs)
        because = re.sub("^continued", "", seen.because)
        for other in ("pushedfrombehind", "gluepulled", "replaced", "continued"):
            because = re.sub(f"(aluminium,)?(repainted,)?{other}$", "", because)
        assert because.startswith(expected[:40])
        assert without_blanks(line.words)[1:] in because
        if "=" in expected:
            assert expected.partition("=")[2] in because


@pytest.mark.parametrize("name", DEMO)
def test_the_sections_come_in_the_order_in_which_a_sheet_is_checked(name: str) -> None:
    titles = [
        "Panels as counted",
        "Repair, panel by panel",
        "Removal & refit",
        "How each panel is reached, and why",
        "Other lines and tax",
        "Totals",
        "Sampled panels: estimates, not counts",
        "Near an edge of a band",
        "How the count was made, and how it is priced",
        "Notes",
        "Cautions",
        "Panels drawn",
        "Panels, plate by plate",
    ]
    seen = [
        piece.text for piece in fragments(sheet_pdf(demo_estimate(name))) if near(piece.size, 11.5)
    ]
    assert seen == [title for title in titles if title in seen]
    assert {"Panels as counted", "Repair, panel by panel", "Totals", "Cautions"} <= set(seen)


@pytest.mark.parametrize("name", [*DEMO, "two hundred oversize dents"])
def test_every_page_says_which_of_how_many_it_is_and_carries_the_digest(name: str) -> None:
    priced = demo_estimate(name) if name in DEMO else strained(name)
    texts = page_texts(sheet_pdf(priced))
    for number, text in enumerate(texts, 1):
        assert f"Page {number} of {len(texts)}" in text
        assert f"Digest {sheet_json(priced)['digest']}" in text
    for text in texts[1:]:
        assert f"Claim {priced.claim.claim.number}" in text


@pytest.mark.parametrize("name", DEMO)
def test_the_totals_are_printed_with_the_currency(name: str) -> None:
    priced = demo_estimate(name)
    totals, tables = priced.totals, priced.compiled.tables
    write = writer(priced.compiled.matrix.matrix.locale, tables.currency, tables.decimals)
    text = without_blanks(words(sheet_pdf(priced)))
    for amount in (totals.total, totals.net, totals.deductible):
        assert without_blanks(write.sum(amount)) in text
    assert f"Amount,{tables.currency}" in text


def test_a_sheet_with_a_panel_beyond_the_matrix_says_that_it_is_incomplete() -> None:
    priced = demo_estimate("03-van-roof-beyond-the-matrix")
    text = words(sheet_pdf(priced))
    assert "INCOMPLETE" in text
    assert "Incomplete: Roof without a price yet" in text
    assert "no price yet" in text
    assert "so far" in text
    assert "INCOMPLETE" not in words(sheet_pdf(demo_estimate("04-van-roof-agreed")))


@pytest.mark.parametrize("name", DEMO)
def test_the_sheet_says_what_it_is_not_and_that_makers_procedures_come_first(name: str) -> None:
    text = words(sheet_pdf(demo_estimate(name)))
    assert "an estimate under the difficulty matrix named on it" in text
    assert "not an offer and not a decision on coverage" in text
    assert "The vehicle maker's procedures come first" in text
    assert "local law and licensed practice come before this sheet" in text
    for title in ("Estimator", "Adjuster", "Owner of the vehicle", "Signature"):
        assert title in text


@pytest.mark.parametrize("name", DEMO)
def test_cautions_of_what_comes_off_and_of_hot_glue_are_printed_and_no_others(name: str) -> None:
    priced = demo_estimate(name)
    text = words(sheet_pdf(priced))
    expected = {key for work in priced.removal for key in work.cautions}
    if any(
        result.count.all
        and result.panel.access != "replace"
        and (result.panel.access == "glue" or result.count.marks.get("glue-only"))
        for result in priced.panels
    ):
        expected.add("heat")
    assert {key for key, caution in CAUTIONS.items() if caution in text} == expected


@pytest.mark.parametrize("name", ["Müller", "Łódź", "Ñuñoa", "Größvald", "Dvořák", "Þórsdóttir"])
def test_names_of_the_whole_latin_alphabet_are_printed(name: str) -> None:
    priced = estimate(claim(panel(note=f"{name} looked"), claim={"customer": name}))
    text = words(sheet_pdf(priced))
    assert f"Customer {name}" in text
    assert f"Hood: {name} looked" in text


@pytest.mark.parametrize(
    "text",
    [
        "<b>bold</b>",
        "&amp; &",
        "100 % off",
        r"C:\hail\new",
        "(((",
        ")",
        "%s {0}",
        r"\(",
        "'\"",
        "<br/>",
    ],
)
def test_signs_that_mean_something_to_machines_are_printed_as_they_are(text: str) -> None:
    pdf = sheet_pdf(
        estimate(
            claim(
                panel(note=f"note {text}"),
                claim={"customer": text, "number": f"No {text}"},
                shop={"name": text},
                other=[{"kind": "part", "label": text, "unit_price": "1.00"}],
            )
        )
    )
    pieces = [piece.text for piece in fragments(pdf)]
    assert pieces.count(text) >= 3
    assert f"Hood: note {text}" in pieces
    assert f"Claim No {text}" in pieces
    information = PdfReader(BytesIO(pdf)).metadata
    assert information is not None
    assert information.title == f"Claim sheet No {text}"


@pytest.mark.parametrize(
    ("char", "code"),
    [
        ("😀", "U+1F600"),
        ("א", "U+05D0"),
        ("ب", "U+0628"),
        ("雹", "U+96F9"),
        ("Д", "U+0414"),
        ("か", "U+304B"),
    ],
    ids=["emoji", "Hebrew", "Arabic", "Chinese", "Cyrillic", "Japanese"],
)
def test_text_that_the_fonts_lack_is_refused_naming_the_place_and_the_character(
    char: str, code: str
) -> None:
    data = claim(
        panel(note=f"looked at by {char}"),
        claim={"customer": f"Ada {char}"},
        other=[{"kind": "part", "label": char, "unit_price": "1.00"}],
    )
    with pytest.raises(InputError) as caught:
        sheet_pdf(estimate(data, matrix(matrix={"title": f"Matrix {char}"})))
    assert [(problem.file, problem.place) for problem in caught.value.problems] == [
        ("claim_file", "claim.customer"),
        ("claim_file", "panels[0].note"),
        ("claim_file", "other[0].label"),
        ("matrix", "matrix.title"),
    ]
    assert all(problem.found == f"{char} ({code})" for problem in caught.value.problems)


def test_a_coin_whose_name_the_fonts_lack_is_refused() -> None:
    coins = [{"name": "百円", "mm": "22.6", "source": "own gauge"}]
    data = matrix(
        matrix={"coins": coins, "columns": ["百円"]},
        grid=[matrix()["grid"][0] | {"rows": [[20], [40]]}],
    )
    with pytest.raises(InputError) as caught:
        sheet_pdf(estimate(claim(panel(tally={"百円": 2})), data))
    places = [problem.place for problem in caught.value.problems]
    assert "matrix.coins[0].name" in places
    assert "matrix.columns[0]" in places


@pytest.mark.parametrize("labels", ["us", "uk"])
def test_panels_are_called_what_the_label_table_calls_them(labels: str) -> None:
    pdf = sheet_pdf(strained("every panel of a pickup"), labels=labels)
    pieces = {piece.text for piece in fragments(pdf)}
    assert {PANEL_LABELS[labels][name] for name in PICKUP} <= pieces
    assert not set(PICKUP) & pieces - {"hood", "roof", "tailgate"}


# --- the file ---------------------------------------------------------------------------------


def fonts_of(pdf: bytes) -> Iterator[Any]:
    for page in PdfReader(BytesIO(pdf)).pages:
        resources: Any = page["/Resources"]
        for font in resources["/Font"].values():
            yield font.get_object()


def test_every_font_is_embedded_so_that_it_prints_the_same_anywhere() -> None:
    names = set()
    for font in fonts_of(sheet_pdf(demo_estimate(FULLEST))):
        descriptor = font.get("/FontDescriptor")
        assert descriptor is not None, f"{font['/BaseFont']} is not embedded"
        assert "/FontFile2" in descriptor.get_object()
        names.add(str(font["/BaseFont"]).partition("+")[2])
    assert names == {"IBMPlexSansCond-Regular", "IBMPlexSansCond-SemiBold"}


def test_no_text_is_drawn_in_a_font_that_is_not_embedded() -> None:
    for page in PdfReader(BytesIO(sheet_pdf(demo_estimate(FULLEST)))).pages:

        def visit(text: str, cm: Any, tm: Any, font: Any, size: float) -> None:
            assert not text.strip() or "+IBMPlexSansCond" in str(font["/BaseFont"])

        page.extract_text(visitor_text=visit)


@pytest.mark.parametrize("name", [SMALLEST, FULLEST])
def test_a_second_reader_finds_no_fault_in_the_file(name: str) -> None:
    with pikepdf.open(BytesIO(sheet_pdf(demo_estimate(name)))) as pdf:
        assert pdf.check_pdf_syntax() == []
        assert list(pdf.attachments) == ["claim-sheet.json"]
        attached = pdf.attachments["claim-sheet.json"].get_file().read_bytes()
    assert attached == sheet_text(sheet_json(demo_estimate(name))).encode()


@pytest.mark.parametrize("name", DEMO)
def test_the_json_attached_is_the_sheets_json_to_the_byte(name: str) -> None:
    reader = PdfReader(BytesIO(sheet_pdf(demo_estimate(name))))
    assert list(reader.attachments) == ["claim-sheet.json"]
    assert reader.attachments["claim-sheet.json"] == [
        sheet_text(sheet_json(demo_estimate(name))).encode()
    ]


@pytest.mark.parametrize("paper", ["letter", "a4"])
def test_every_page_has_the_papers_size(paper: str) -> None:
    for page in PdfReader(BytesIO(sheet_pdf(demo_estimate(FULLEST), paper=paper))).pages:
        assert (float(page.mediabox.width), float(page.mediabox.height)) == PAPERS[paper]
    width, height = PAPERS["a4"]
    assert (round(width / 72 * 25.4), round(height / 72 * 25.4)) == (210, 297)


@pytest.mark.parametrize("name", [SMALLEST, FULLEST])
def test_the_same_claim_gives_the_same_bytes(name: str) -> None:
    assert sheet_pdf(demo_estimate(name)) == sheet_pdf(demo_estimate(name))


def test_the_bytes_do_not_depend_on_the_process_the_clock_zone_or_the_language() -> None:
    script = (
        "import sys; from pathlib import Path\n"
        "from hailcalc.intake import take_in; from hailcalc.estimate import price\n"
        "from hailcalc.sheet.pdf import sheet_pdf\n"
        "intake = take_in(Path(sys.argv[1]))\n"
        "sys.stdout.buffer.write(sheet_pdf(price(intake.claim, intake.compiled)))\n"
    )
    name = "10-wagon-in-euro-compound-extras"
    drawn = [
        subprocess.run(
            [sys.executable, "-c", script, f"demo/claims/{name}.json"],
            cwd=ROOT,
            env=os.environ | settings_,
            capture_output=True,
            check=True,
        ).stdout
        for settings_ in (
            {"PYTHONHASHSEED": "1", "TZ": "Asia/Tokyo", "LANG": "ja_JP.UTF-8", "LC_ALL": "C"},
            {"PYTHONHASHSEED": "77", "TZ": "America/Anchorage", "LANG": "C", "LC_ALL": "de_DE"},
        )
    ]
    assert drawn[0] == drawn[1] == sheet_pdf(demo_estimate(name))


def test_no_clock_is_in_the_file() -> None:
    information = PdfReader(BytesIO(sheet_pdf(demo_estimate(SMALLEST)))).metadata
    assert information is not None
    assert information.creation_date == information.modification_date
    assert information.creation_date is None or information.creation_date.year == 2000


def test_a_digit_of_difference_in_the_claim_gives_another_file_identifier() -> None:
    first = sheet_pdf(estimate(claim(panel(tally={"dime": 3}))))
    second = sheet_pdf(estimate(claim(panel(tally={"dime": 4}))))
    trailers: list[Any] = [PdfReader(BytesIO(pdf)).trailer for pdf in (first, second)]
    assert trailers[0]["/ID"][0] != trailers[1]["/ID"][0]


def test_a_sheet_is_small_enough_to_send() -> None:
    assert len(sheet_pdf(demo_estimate(FULLEST))) < 100_000


# --- tables -----------------------------------------------------------------------------------


def before_the_drawings(pieces: list[Fragment]) -> list[Fragment]:
    """What is printed above the panels drawn, where counts stand, not amounts."""
    for piece in pieces:
        if piece.text.startswith(("Panels drawn", "Panels, plate")):
            return [
                other
                for other in pieces
                if other.page < piece.page or (other.page == piece.page and other.y > piece.y)
            ]
    return pieces


def is_amount(text: str) -> bool:
    return bool(re.fullmatch(r"[-−]?[0-9][0-9.,’\s\u00a0]*", text))


@pytest.mark.parametrize("paper", ["letter", "a4"])
@pytest.mark.parametrize("name", [*DEMO, *(name for name in STRAINS if "billions" in name)])
def test_amounts_stand_flush_right_in_their_column(name: str, paper: str) -> None:
    priced = demo_estimate(name) if name in DEMO else strained(name)
    edge = PAPERS[paper][0] - MARGIN - 2.5
    pieces = before_the_drawings(fragments(sheet_pdf(priced, paper=paper)))
    amounts = [
        piece
        for piece in pieces
        if piece.right > edge - 15
        and is_amount(piece.text)
        and piece.y > 60
        and not near(piece.size, 17)
        and piece.x > edge - 110
    ]
    assert len(amounts) >= len(priced.lines)
    for piece in amounts:
        assert abs(piece.right - edge) <= 0.1, piece


def test_a_table_that_goes_over_pages_repeats_its_heading_and_its_panel() -> None:
    pdf = sheet_pdf(strained("two hundred oversize dents"))
    by_page: dict[int, list[Fragment]] = {}
    for piece in fragments(pdf):
        by_page.setdefault(piece.page, []).append(piece)
    numbers = [
        page
        for page, pieces in by_page.items()
        if any(piece.text == "Oversize dent" for piece in pieces)
    ]
    assert len(numbers) >= 4
    for page in numbers[1:]:
        # The head of the page comes last in drawing order; the table's heading comes first.
        texts = [piece.text for piece in by_page[page]]
        assert texts[:4] == ["No.", "Line", "Because", "Amount, USD"]
        assert texts[4:6] == ["Hood", "continued"]


def test_a_panels_name_does_not_stand_alone_at_the_foot_of_a_page() -> None:
    """Whatever comes before: a sheet is made longer line by line until every break has come."""
    for count in range(1, 40):
        notes = [{"mm": 31 + number} for number in range(count)]
        names = SEDAN[1:6]
        flow = drawing.composed(
            estimate(claim(panel("hood", oversize=notes), *(panel(name) for name in names)))
        )
        for page in flow.pages:
            rows = [mark for mark in page if isinstance(mark, TextMark) and near(mark.x, 68.5)]
            group_names = {PANEL_LABELS["us"][name] for name in ["hood", *names]}
            if rows:
                assert not (rows[-1].size == 9 and rows[-1].text in group_names), count


@pytest.mark.parametrize("paper", ["letter", "a4"])
@pytest.mark.parametrize("name", STRAINS)
def test_a_tables_heading_does_not_stand_alone_at_the_foot_of_a_page(name: str, paper: str) -> None:
    for number, page in enumerate(drawing.composed(strained(name), paper=paper).pages, 1):
        last = [mark for mark in page if isinstance(mark, TextMark)][-1]
        heading = last.face == "SheetBold" and near(last.size, 7.5)
        assert not heading, f"page {number} ends with the heading {last.text!r}"


# --- nothing overlaps -------------------------------------------------------------------------


@dataclass(frozen=True)
class Box:
    """The extent of a text: from descenders to ascenders, from first to last letter."""

    left: float
    right: float
    foot: float
    top: float
    text: str


def box_of(mark: TextMark) -> Box:
    text = mark.text.strip(" ")
    lead = faces()[mark.face].width(mark.text[: len(mark.text) - len(mark.text.lstrip(" "))], 1)
    left = mark.x + lead * mark.size
    width = faces()[mark.face].width(text, mark.size)
    return Box(left, left + width, mark.y - 0.22 * mark.size, mark.y + 0.76 * mark.size, text)


def pages_of(priced: Estimate, paper: str, labels: str) -> tuple[Flow, list[list[Mark]]]:
    """Every page's marks, head and foot included."""
    sheet = drawing._sheet(priced, labels)
    flow = drawing._compose(sheet, *PAPERS[paper])
    count = len(flow.pages)
    return flow, [
        [*marks, *drawing._furniture(sheet, flow, number, count)]
        for number, marks in enumerate(flow.pages, 1)
    ]


def overlaps(boxes: list[Box], slack: float = 0.5) -> Iterator[tuple[Box, Box]]:
    boxes = sorted(boxes, key=lambda box: -box.top)
    for place, box in enumerate(boxes):
        for other in boxes[place + 1 :]:
            if other.top <= box.foot + slack:
                break
            deep = min(box.top, other.top) - max(box.foot, other.foot)
            wide = min(box.right, other.right) - max(box.left, other.left)
            if deep > slack and wide > slack:
                yield box, other


def page_faults(priced: Estimate, paper: str, labels: str) -> list[str]:
    """Texts over texts, over the edge of the paper's text, or struck through by a rule."""
    flow, pages = pages_of(priced, paper, labels)
    faults: list[str] = []
    for number, marks in enumerate(pages, 1):
        texts = [mark for mark in marks if isinstance(mark, TextMark) and mark.text.strip()]
        boxes = [box_of(mark) for mark in texts]
        faults += [
            f"page {number}: {a.text!r} over {b.text!r} at {b.left:.1f}, {b.foot:.1f}"
            for a, b in overlaps(boxes)
        ]
        for box in boxes:
            if box.left < MARGIN - 0.5 or box.right > flow.width - MARGIN + 0.5:
                faults.append(f"page {number}: {box.text!r} from {box.left:.1f} to {box.right:.1f}")
            if box.foot < 28 or box.top > flow.height - 30:
                faults.append(f"page {number}: {box.text!r} at {box.foot:.1f}")
        body = flow.pages[number - 1]
        for mark in body:
            if isinstance(mark, TextMark) and mark.text.strip() and box_of(mark).foot < flow.bottom:
                faults.append(f"page {number}: {mark.text!r} runs into the foot")
        faults += [
            f"page {number}: {what} through {box.text!r}"
            for what, x, y, place in drawn_points(marks)
            for box in boxes
            if box.left + 0.5 < x < box.right - 0.5
            and box.foot + 0.5 < y < box.top - 0.5
            and not covered(box, marks[place + 1 :])
        ]
    return faults


def drawn_points(marks: Sequence[Mark]) -> Iterator[tuple[str, float, float, int]]:
    """Places that ink passes, other than letters: every other point along lines and circles."""
    for place, mark in enumerate(marks):
        if isinstance(mark, RuleMark):
            steps = max(1, int(hypot(mark.x2 - mark.x, mark.y2 - mark.y) / 2))
            for step in range(steps + 1):
                x = mark.x + (mark.x2 - mark.x) * step / steps
                yield "a rule", x, mark.y + (mark.y2 - mark.y) * step / steps, place
        elif isinstance(mark, PathMark):
            for x, y in mark.points:
                yield "a line of a drawing", x, y, place
        elif isinstance(mark, CircleMark):
            for way in range(8):
                x = mark.x + mark.radius * cos(way * pi / 4)
                yield "a dent", x, mark.y + mark.radius * sin(way * pi / 4), place


def covered(box: Box, later: Sequence[Mark]) -> bool:
    """Whether what was drawn before lies under a white square on which the text stands."""
    return any(
        isinstance(mark, PathMark)
        and mark.fill == 1.0
        and min(x for x, _ in mark.points) <= box.left
        and box.right <= max(x for x, _ in mark.points)
        and min(y for _, y in mark.points) <= box.foot + 2
        and box.top - 2 <= max(y for _, y in mark.points)
        for mark in later
    )


PAPER_AND_LABELS = [(paper, labels) for paper in PAPERS for labels in PANEL_LABELS]


@pytest.mark.parametrize(("paper", "labels"), PAPER_AND_LABELS)
@pytest.mark.parametrize("name", DEMO)
def test_nothing_overlaps_on_the_demo_sheets(name: str, paper: str, labels: str) -> None:
    assert page_faults(demo_estimate(name), paper, labels) == []


@pytest.mark.parametrize(("paper", "labels"), PAPER_AND_LABELS)
@pytest.mark.parametrize("name", STRAINS)
def test_nothing_overlaps_however_much_stands_on_the_sheet(
    name: str, paper: str, labels: str
) -> None:
    assert page_faults(strained(name), paper, labels) == []


@settings(max_examples=examples(60), deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(priced_together())
def test_nothing_overlaps_on_the_sheet_of_any_claim(pair: tuple[Table, Table]) -> None:
    assert page_faults(estimate(*pair), "a4", "uk") == []


def test_nothing_overlaps_wherever_a_page_happens_to_break() -> None:
    for count in range(0, 60, 3):
        oversize = [{"mm": 31 + number} for number in range(count)]
        priced = estimate(
            claim(
                panel("hood", tally={"dime": 5}, oversize=oversize, note=LONG_NOTE[: 30 * count]),
                other=[{"kind": "part", "label": LONG_WITH_BLANKS, "unit_price": "1.00"}],
            )
        )
        assert page_faults(priced, "letter", "us") == []


@pytest.mark.parametrize("name", STRAINS)
def test_every_text_is_printed_to_its_last_letter(name: str) -> None:
    """Long texts wrap and break; except in the running head, nothing of them is cut."""
    priced = strained(name)
    flow = drawing.composed(priced)
    everything = without_blanks(
        "".join(mark.text for page in flow.pages for mark in page if isinstance(mark, TextMark))
    )
    assert "…" not in everything.replace(matrix_digest(everything), ""), (
        "a text or a sum is cut short"
    )
    for part in priced.claim.panels:
        assert without_blanks(part.note) in everything
    shop, header = priced.claim.shop, priced.claim.claim
    for text in (header.number, header.customer, header.insurer, shop.name if shop else ""):
        assert without_blanks(text or "") in everything


def matrix_digest(text: str) -> str:
    """The first half of the matrix's digest, the only text that is meant to be cut."""
    found = re.search(r"Digest[0-9a-f]{16}…", text)
    assert found is not None
    return found[0]


def test_the_sheet_shown_to_people_and_the_one_for_machines_have_the_same_digest() -> None:
    information = PdfReader(BytesIO(sheet_pdf(demo_estimate(SMALLEST)))).metadata
    assert information is not None
    assert demo_sheet(SMALLEST)["digest"] in str(information.subject)
