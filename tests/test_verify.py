"""Verifying a sheet: nothing that anybody changes in it, by slip or by intent, passes.

First the JSON, digit by digit and forged with a fresh digest; then the PDF, byte by byte,
redrawn, re-sealed and painted over. pikepdf, a reader that the product does not use, makes
the forgeries.
"""

from __future__ import annotations

import json
import random
import re
from collections.abc import Callable
from functools import cache
from io import BytesIO
from typing import Any

import pikepdf
import pytest
import reportlab
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pypdf import PdfReader, PdfWriter

from hailcalc.claimfile import read_claim, require_claim
from hailcalc.estimate import price
from hailcalc.matrix import matrix_from_data, require_matrix
from hailcalc.problems import InputError
from hailcalc.reading import MAX_TEXT_BYTES
from hailcalc.sheet.attach import seal, seals
from hailcalc.sheet.document import digest
from hailcalc.sheet.pdf import sheet_pdf
from hailcalc.sheet.pdfcheck import verify_pdf
from hailcalc.sheet.verify import read_sheet, verify_sheet
from tests.builders import (
    DEMO,
    FULLEST,
    SEDAN,
    SMALLEST,
    Table,
    claim,
    demo_estimate,
    demo_sheet,
    estimate,
    matrix,
    panel,
    removal_and_tax,
    sheet,
)
from tests.effort import SOAK, examples
from tests.strategies import priced_together

DIGITS = "0123456789"


def small_claim() -> Table:
    return claim(panel("hood", tally={"dime": 5}), claim={"deductible": "20.00"})


def small_sheet() -> Table:
    return sheet(estimate(small_claim(), matrix(**removal_and_tax())))


def findings(text: str) -> list[str]:
    """What verifying a sheet's text finds: differences, or the reasons why it is none."""
    try:
        return [str(found) for found in verify_sheet(read_sheet(text, "sheet"))]
    except InputError as error:
        return [str(problem) for problem in error.problems]


def forged(document: Table) -> Table:
    """A changed sheet with a digest that fits the change, as a forger would hand it over."""
    rest = {key: value for key, value in document.items() if key != "digest"}
    return rest | {"digest": digest(rest)}


def differences(document: Table) -> list[str]:
    return [str(found) for found in verify_sheet(document)]


# --- JSON: slips ------------------------------------------------------------------------------


@pytest.mark.parametrize("name", DEMO)
def test_an_untouched_sheet_verifies(name: str) -> None:
    assert differences(demo_sheet(name)) == []


def test_no_digit_of_a_small_sheet_can_be_changed_to_any_other() -> None:
    text = json.dumps(small_sheet(), indent=1)
    assert findings(text) == []
    places = [place for place, char in enumerate(text) if char in DIGITS]
    assert len(places) > 150
    for place in places:
        for other in DIGITS.replace(text[place], ""):
            changed = text[:place] + other + text[place + 1 :]
            assert findings(changed), f"{text[place - 30 : place + 10]!r}: {other} passes"


@cache
def demo_text(name: str) -> tuple[str, list[int]]:
    """A demo sheet's text, and where its digits stand."""
    text = json.dumps(demo_sheet(name), indent=2, ensure_ascii=False)
    return text, [place for place, char in enumerate(text) if char in DIGITS]


@settings(max_examples=examples(150), deadline=None)
@given(st.data())
def test_no_digit_of_a_demo_sheet_can_be_changed(data: st.DataObject) -> None:
    text, places = demo_text(data.draw(st.sampled_from(DEMO)))
    place = places[data.draw(st.integers(0, len(places) - 1))]
    other = data.draw(st.sampled_from(DIGITS.replace(text[place], "")))
    assert findings(text[:place] + other + text[place + 1 :])


@settings(max_examples=examples(150), deadline=None)
@given(st.data())
def test_no_character_can_be_changed_left_out_or_put_in_without_notice(data: st.DataObject) -> None:
    """Blanks between keys and values say nothing and may change; nothing else may."""
    document = small_sheet()
    text = json.dumps(document, separators=(",", ":"), ensure_ascii=False)
    place = data.draw(st.integers(0, len(text) - 1))
    new = data.draw(st.sampled_from(['"', "}", "]", ",", ":", "\\", "-", "e", "x", "é", "0", ""]))
    changed = text[:place] + new + text[place + data.draw(st.sampled_from([0, 1])) :]
    found = findings(changed)
    try:
        same = json.loads(changed) == document and changed.count('"') == text.count('"')
    except ValueError:
        same = False
    assert bool(found) != same


@pytest.mark.parametrize("length", [0, 1, 100, -1, -2])
def test_a_sheet_that_was_cut_short_is_no_sheet(length: int) -> None:
    text = json.dumps(small_sheet())
    with pytest.raises(InputError):
        read_sheet(text[:length], "sheet")


@pytest.mark.parametrize("text", ["[]", "null", "3", '"sheet"', "{}", '{"lines": []}', "NaN"])
def test_json_that_is_no_sheet_is_refused(text: str) -> None:
    with pytest.raises(InputError, match=r"expected a (claim sheet with|finite number)"):
        read_sheet(text, "sheet")


@pytest.mark.parametrize("key", ["claim_file", "matrix", "lines", "totals", "evidence", "digest"])
def test_a_sheet_without_one_of_its_keys_is_refused_naming_it(key: str) -> None:
    document = small_sheet()
    del document[key]
    with pytest.raises(InputError, match=f"found no {key}"):
        read_sheet(json.dumps(document), "sheet")


@pytest.mark.parametrize("key", ["claim_file", "matrix", "lines", "totals", "evidence"])
@pytest.mark.parametrize("value", [None, 7, "x", [], {}, [1], {"a": {"b": []}}, True])
def test_a_part_of_another_kind_is_a_difference_and_no_accident(key: str, value: Any) -> None:
    found = differences(forged(small_sheet() | {key: value}))
    assert found
    assert any(text.startswith((key, "line 1")) for text in found)


@pytest.mark.parametrize("value", [None, 7, "", [], {}, "0" * 64])
def test_a_digest_of_another_kind_is_a_difference(value: Any) -> None:
    found = differences(small_sheet() | {"digest": value})
    assert [text.partition(":")[0] for text in found] == ["digest"]


@pytest.mark.parametrize("number", ["1e400", "1e5000", "1e999999999", "-1e400", "9" * 5000])
def test_a_monstrous_number_is_found_at_once(number: str) -> None:
    text = json.dumps(small_sheet()).replace('"dents": 5', f'"dents": {number}')
    assert number in text
    assert findings(text)


NUMBERS = {
    "as the sheet writes them": ("24", "44.96, -89", "41, 12.5"),
    "with noughts at the end": ("24.0", "44.960, -89.0", "41.0, 12.50"),
    "with many noughts": ("24.5000000", "44.9600000000, -89.00000000", "41.000, 12.500"),
    "with an exponent": ("2.45e1", "4.496E1, -8.9e+1", "4.1e1, 125E-1"),
    "as nothing below nothing": ("-0.0", "-0.0, -0", "41, 12.5"),
    "finer than a computer keeps them": (
        "24.400000000000000000001", "44.9600000000000000000001, -89", "41, 12.5",
    ),
}  # fmt: skip


@pytest.mark.parametrize("way", NUMBERS)
def test_a_sheet_just_written_verifies_however_the_claims_numbers_were_written(way: str) -> None:
    temperature, place, sizes = NUMBERS[way]
    latitude, longitude = place.split(", ")
    oversize, dent = sizes.split(", ")
    text = f"""{{
        "claim": {{"number": "C-1", "date_of_loss": "2026-05-19",
                  "loss_location": {{"lat": {latitude}, "lon": {longitude}}}}},
        "vehicle": {{"body": "sedan"}},
        "conditions": {{"panel_temperature_c": {temperature}}},
        "panels": [{{"panel": "hood", "oversize": [{{"mm": {oversize}}}]}},
                   {{"panel": "roof", "dents": [{{"mm": {dent}}}, {{"mm": {oversize}}}]}}]
    }}"""
    priced = price(require_claim(read_claim(text)), require_matrix(matrix_from_data(matrix())))
    assert differences(sheet(priced)) == []
    assert pdf_findings(sheet_pdf(priced)) == []


# --- JSON: forgeries with a fresh digest ------------------------------------------------------


def test_a_forged_amount_is_named_with_its_line_what_is_printed_and_what_it_should_be() -> None:
    document = small_sheet()
    assert document["lines"][0]["amount"] == "60.00"
    document["lines"][0]["amount"] = "66.00"
    assert differences(forged(document)) == [
        'line 1 (hood, Push) amount: printed "66.00", recomputed "60.00"'
    ]


def test_every_amount_and_every_word_of_every_line_is_recomputed() -> None:
    """Each leaf of lines, totals and evidence, one after another, with a fresh digest."""
    extra = {"id": "braced", "label": "Braced", "when": {"mark": "braced"}, "of": "affected"}
    hood = panel(tally={"dime": 5}, marked={"braced": {"dime": 2}}, oversize=[{"mm": 41}])
    part = {"kind": "part", "label": "Emblem", "quantity": 2, "unit_price": "8.75"}
    data = matrix(**removal_and_tax(), extra=[extra | {"percent": "40"}])
    whole = sheet(estimate(claim(hood, panel("roof"), other=[part]), data))
    assert [line["kind"] for line in whole["lines"]] == [
        "repair", "oversize", "extra", "repair", "removal", "fastener", "part", "tax",
    ]  # fmt: skip
    for number in range(len(whole["lines"])):
        for key in ("kind", "panel", "label", "amount"):
            document = json.loads(json.dumps(whole))
            document["lines"][number][key] = "1.23"
            found = differences(forged(document))
            assert len(found) == 1
            assert found[0].startswith(f"line {number + 1} (")
            assert f' {key}: printed "1.23", recomputed ' in found[0]
        for key in list(whole["lines"][number]["because"]):
            document = json.loads(json.dumps(whole))
            document["lines"][number]["because"][key] += " "
            assert len(differences(forged(document))) == 1
    for key in whole["totals"]:
        document = json.loads(json.dumps(whole))
        document["totals"][key] = "1.23"
        assert [text.partition(":")[0] for text in differences(forged(document))] == [
            f"totals.{key}"
        ]


def test_a_forged_total_is_named() -> None:
    document = small_sheet()
    right = document["totals"]["net"]
    document["totals"]["net"] = "9999.00"
    assert differences(forged(document)) == [f'totals.net: printed "9999.00", recomputed "{right}"']


def test_a_forged_count_in_the_claim_shows_in_every_line_that_it_would_change() -> None:
    document = small_sheet()
    document["claim_file"]["panels"][0]["tally"]["dime"] = 3
    found = differences(forged(document))
    assert 'line 1 (hood, Push) amount: printed "60.00", recomputed "30.00"' in found
    assert any(text.startswith("totals.total: ") for text in found)
    assert any(text.startswith("evidence.counts[0].dents: ") for text in found)


def test_a_forged_cell_of_the_matrix_shows_in_the_lines_that_it_prices() -> None:
    document = small_sheet()
    document["matrix"]["grid"][0]["rows"][1][0] = 42
    found = differences(forged(document))
    assert 'line 1 (hood, Push) amount: printed "60.00", recomputed "63.00"' in found


def test_a_forged_cell_that_breaks_the_matrix_is_named_with_its_place() -> None:
    document = small_sheet()
    document["matrix"]["grid"][0]["rows"][1][0] = 1
    found = differences(forged(document))
    assert any(text.startswith("matrix.grid[0].rows[1][0]: printed 1 ") for text in found)


def test_a_cell_that_prices_no_line_changes_the_digest_alone() -> None:
    """Whoever has the first digest sees it; the sheet by itself is still a true sheet."""
    document = small_sheet()
    document["matrix"]["grid"][0]["rows"][1][1] = 71
    assert [text.partition(":")[0] for text in differences(document)] == ["digest"]
    assert differences(forged(document)) == []
    assert forged(document)["digest"] != small_sheet()["digest"]


def test_a_line_taken_out_is_missed() -> None:
    document = small_sheet()
    taken = document["lines"].pop(1)
    found = differences(forged(document))
    assert found
    assert any(taken["label"] in text and "recomputed" in text for text in found)


def test_a_line_taken_off_the_end_is_named() -> None:
    document = small_sheet()
    taken = document["lines"].pop()
    (found,) = differences(forged(document))
    assert found.startswith(f"line {len(document['lines']) + 1} (")
    assert taken["label"] in found
    assert "printed nothing" in found


def test_a_line_put_in_is_found() -> None:
    document = small_sheet()
    document["lines"].append(
        {
            "kind": "part",
            "panel": None,
            "label": "Emblem",
            "amount": "12.00",
            "because": {"words": "1 piece"},
        }
    )
    (found,) = differences(forged(document))
    assert found.startswith(f"line {len(document['lines'])}: printed ")
    assert "Emblem" in found
    assert found.endswith("recomputed nothing")


def test_lines_that_changed_places_are_found() -> None:
    document = small_sheet()
    lines = document["lines"]
    lines[0], lines[1] = lines[1], lines[0]
    found = differences(forged(document))
    assert any(text.startswith("line 1 (hood, Push) ") for text in found)
    assert any(text.startswith("line 2 (vehicle, Hood liner) ") for text in found)


@pytest.mark.parametrize(
    "place",
    [(), ("claim_file",), ("matrix",), ("lines", 0), ("totals",), ("evidence",)],
    ids=["sheet", "claim", "matrix", "line", "totals", "evidence"],
)
def test_a_key_put_in_anywhere_is_named(place: tuple[str | int, ...]) -> None:
    document = small_sheet()
    table: Any = document
    for key in place:
        table = table[key]
    table["remark"] = "paid in full"
    found = differences(forged(document))
    assert found
    assert any("remark" in text for text in found)


def test_several_keys_put_in_are_listed_in_the_order_they_stand_there() -> None:
    extra = {f"key-{number}": number for number in range(12)}
    found = differences(forged(small_sheet() | extra))
    assert [text.partition(":")[0] for text in found] == list(extra)


def test_a_total_given_as_a_number_is_not_the_decimal_string_that_it_should_be() -> None:
    document = small_sheet()
    document["totals"]["deductible"] = 20
    assert differences(forged(document)) == ['totals.deductible: printed 20, recomputed "20.00"']


def test_true_is_not_one() -> None:
    document = small_sheet()
    document["totals"]["complete"] = 1
    assert differences(forged(document)) == ["totals.complete: printed 1, recomputed True"]


def test_a_claim_that_can_not_be_is_named_where_it_can_not() -> None:
    document = small_sheet()
    document["claim_file"]["panels"][0]["marked"] = {"braced": {"dime": 6}}
    (found,) = differences(forged(document))
    assert found.startswith("claim_file.panels[0].marked.braced.dime: printed 6 marked")


# --- PDF: the file's bytes ----------------------------------------------------------------------


@cache
def small_pdf() -> bytes:
    return sheet_pdf(estimate(small_claim(), matrix(**removal_and_tax())))


def pdf_findings(data: bytes) -> list[str]:
    """What verifying a PDF finds: differences, or the reasons why it is no claim sheet."""
    try:
        return [str(found) for found in verify_pdf(data, "sheet.pdf")[1]]
    except InputError as error:
        return [str(problem) for problem in error.problems]


@pytest.mark.parametrize("paper", ["letter", "a4"])
@pytest.mark.parametrize("labels", ["us", "uk"])
def test_an_untouched_pdf_verifies_on_every_paper_with_every_label(paper: str, labels: str) -> None:
    for name in (SMALLEST, "11-hatch-in-yen-most-dents-rule"):
        document, found = verify_pdf(
            sheet_pdf(demo_estimate(name), paper=paper, labels=labels), "sheet.pdf"
        )
        assert found == []
        assert document["digest"] == demo_sheet(name)["digest"]


@pytest.mark.parametrize("name", DEMO)
def test_every_demo_sheet_verifies_from_its_pdf_alone(name: str) -> None:
    assert pdf_findings(sheet_pdf(demo_estimate(name))) == []


@settings(max_examples=examples(60), deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(priced_together())
def test_the_pdf_of_any_claim_verifies(pair: tuple[Table, Table]) -> None:
    assert pdf_findings(sheet_pdf(estimate(*pair))) == []


def test_the_pdf_of_a_claim_as_large_as_may_be_read_verifies() -> None:
    """A claim file of a fifth of the limit; spread over lines its sheet is several times longer.

    In every run a third of that.
    """
    dents = 9000 if SOAK else 3000
    data = claim(*(panel(name, dents=[{"mm": 17}] * dents) for name in SEDAN))
    assert len(json.dumps(data)) < MAX_TEXT_BYTES
    assert pdf_findings(sheet_pdf(estimate(data))) == []


def test_a_byte_changed_anywhere_breaks_the_seal() -> None:
    """Every plain digit and every seventh byte of the file, a bit of it turned over."""
    data = small_pdf()
    for place in sorted({*plain_places(data), *range(0, len(data), 7)}):
        changed = data[:place] + bytes([data[place] ^ 1]) + data[place + 1 :]
        found = seals(changed)
        assert found is None or found[0] != found[1], f"byte {place} can be changed"


def plain_places(data: bytes) -> list[int]:
    """Digits that stand in the file as they are, outside compressed streams."""
    streams = [match.span() for match in re.finditer(rb"stream\r?\n.*?endstream", data, re.S)]
    return [
        place
        for place, char in enumerate(data)
        if chr(char) in DIGITS and not any(start <= place < end for start, end in streams)
    ]


def test_a_digit_or_byte_changed_anywhere_fails_and_is_never_an_accident() -> None:
    """A sample of plain digits and of all bytes; each time as it is, and with the seal renewed.

    What is changed and sealed again may pass only where the file no longer says that this very
    library drew it: then its pages are compared by their texts, and those are untouched.
    """
    data = small_pdf()
    dice = random.Random(20260519)
    digits = dice.sample(plain_places(data), examples(40))
    for place in digits + dice.sample(range(len(data)), examples(40)):
        old = chr(data[place])
        new = (
            ord(dice.choice(DIGITS.replace(old, "")))
            if old in DIGITS
            else data[place] ^ (1 << dice.randrange(8))
        )
        changed = data[:place] + bytes([new]) + data[place + 1 :]
        assert pdf_findings(changed), f"byte {place} can be changed"
        if seals(changed) is not None and seal(changed) != data and not pdf_findings(seal(changed)):
            assert not names_this_library(changed), f"byte {place} can be changed and sealed"


def names_this_library(data: bytes) -> bool:
    information = PdfReader(BytesIO(data)).metadata
    keywords = information.get("/Keywords", "") if information else ""
    return f"reportlab={reportlab.Version}" in str(keywords).split()


@pytest.mark.parametrize("key", ["Pages", "Root", "Info", "Kids", "Contents", "Names", "Parent"])
def test_a_reference_that_leads_nowhere_is_found_and_no_accident(key: str) -> None:
    data = small_pdf()
    pattern = rb"(/" + key.encode() + rb" (?:\[ )?)([0-9]+)( 0 R)"
    assert re.search(pattern, data) or key == "Names"
    for other in (b"1", b"2", b"7", b"10", b"99"):
        changed = re.sub(pattern, rb"\g<1>" + other + rb"\g<3>", data)
        if changed != data:
            assert pdf_findings(changed)
            assert pdf_findings(seal(changed)) or not names_this_library(changed)


def test_bytes_hung_on_behind_the_end_are_found() -> None:
    assert pdf_findings(small_pdf() + b"\n")
    assert pdf_findings(seal(small_pdf() + b"\n"))


@pytest.mark.parametrize("part", [0.0, 0.02, 0.3, 0.6, 0.9, 0.97, 0.99])
def test_a_truncated_file_fails(part: float) -> None:
    data = small_pdf()
    with pytest.raises(InputError):
        verify_pdf(data[: int(len(data) * part)], "sheet.pdf")


@pytest.mark.parametrize(
    "data",
    [b"", b"%PDF-1.4\n", b"%PDF-1.4\n%%EOF\n", b"not a PDF", b"\x00" * 500, b"%PDF" + b"(" * 9000],
    ids=["empty", "head", "head and end", "text", "zeros", "brackets"],
)
def test_what_is_no_pdf_is_refused_by_name(data: bytes) -> None:
    with pytest.raises(InputError, match=r"sheet\.pdf: .*a claim sheet made by hailcalc"):
        verify_pdf(data, "sheet.pdf")


def other_pdf(**attached: bytes) -> bytes:
    """A blank page made by somebody else, with files attached."""
    writer = PdfWriter()
    writer.add_blank_page(612, 792)
    for name, data in attached.items():
        writer.add_attachment(name.replace("_", "-") + ".json", data)
    out = BytesIO()
    writer.write(out)
    return out.getvalue()


def test_a_pdf_of_somebody_else_is_refused() -> None:
    with pytest.raises(InputError, match=r"a PDF without claim-sheet\.json"):
        verify_pdf(other_pdf(), "sheet.pdf")


def test_a_pdf_with_an_attachment_of_another_name_is_refused() -> None:
    text = json.dumps(small_sheet()).encode()
    with pytest.raises(InputError, match=r"a PDF without claim-sheet\.json"):
        verify_pdf(other_pdf(other_sheet=text), "sheet.pdf")


def test_a_true_json_in_somebody_elses_pdf_does_not_verify() -> None:
    text = json.dumps(small_sheet()).encode()
    assert pdf_findings(other_pdf(claim_sheet=text))


# --- PDF: pages that say something else -------------------------------------------------------


def edited(data: bytes, change: Callable[[pikepdf.Pdf], object]) -> bytes:
    """A PDF opened, changed and written again by another program, and sealed."""
    out = BytesIO()
    with pikepdf.open(BytesIO(data)) as pdf:
        change(pdf)
        pdf.save(out, compress_streams=False, object_stream_mode=pikepdf.ObjectStreamMode.disable)
    return seal(with_identifier(out.getvalue()))


def with_identifier(data: bytes) -> bytes:
    """The file identifier written in lower-case hex, as a seal is."""
    match = re.search(rb"/ID\s*\[\s*<([0-9a-fA-F]{32})>\s*<([0-9a-fA-F]{32})>\s*\]", data)
    assert match is not None
    return data[: match.start()] + match[0].lower().replace(b"/id", b"/ID") + data[match.end() :]


def other_library(data: bytes) -> Callable[[pikepdf.Pdf], None]:
    """Say that the pages were drawn by another version of the drawing library."""

    def change(pdf: pikepdf.Pdf) -> None:
        words = str(pdf.docinfo["/Keywords"])
        pdf.docinfo["/Keywords"] = re.sub("reportlab=[0-9.]+", "reportlab=4.0.1", words)

    return change


def page_of(text: str) -> int:
    match = re.match("page ([0-9]+)", text)
    return int(match[1]) if match else 0


def test_a_glyph_changed_on_a_page_is_found_and_the_page_named() -> None:
    """The first string drawn on the page gets its last character from the one before."""

    def change(pdf: pikepdf.Pdf) -> None:
        page = pdf.pages[-1]
        instructions = list(pikepdf.parse_content_stream(page))
        for place, instruction in enumerate(instructions):
            text = bytes(instruction.operands[0]) if str(instruction.operator) == "Tj" else b""
            if len(text) > 3 and text[-1] != text[-2]:
                wrong = pikepdf.String(text[:-1] + text[-2:-1])
                operator = pikepdf.Operator("Tj")
                instructions[place] = pikepdf.ContentStreamInstruction([wrong], operator)
                break
        page.Contents = pdf.make_stream(pikepdf.unparse_content_stream(instructions))

    whole = sheet_pdf(demo_estimate(SMALLEST))
    pages = len(PdfReader(BytesIO(whole)).pages)
    found = pdf_findings(edited(whole, change))
    assert found
    assert {page_of(text) for text in found} == {pages}


def test_pages_of_a_dearer_claim_with_the_true_json_attached_are_found() -> None:
    """The JSON is recomputed and sound; the pages show five times as many dents."""
    dearer = estimate(
        claim(panel("hood", tally={"dime": 25}), claim={"deductible": "0"}),
        matrix(**removal_and_tax()),
    )
    true_json = json.dumps(small_sheet(), indent=2, ensure_ascii=False).encode() + b"\n"

    def change(pdf: pikepdf.Pdf) -> None:
        pdf.attachments["claim-sheet.json"] = pikepdf.AttachedFileSpec(
            pdf, true_json, filename="claim-sheet.json"
        )

    found = pdf_findings(edited(sheet_pdf(dearer), change))
    assert any(page_of(text) == 1 for text in found)
    assert any("25" in text.partition("recomputed")[0] for text in found)


def test_a_json_changed_inside_the_pdf_is_found_by_line_and_by_page() -> None:
    document = small_sheet()
    document["lines"][0]["amount"] = "66.00"
    text = json.dumps(forged(document), indent=2).encode()

    def change(pdf: pikepdf.Pdf) -> None:
        pdf.attachments["claim-sheet.json"] = pikepdf.AttachedFileSpec(
            pdf, text, filename="claim-sheet.json"
        )

    found = pdf_findings(edited(small_pdf(), change))
    assert 'line 1 (hood, Push) amount: printed "66.00", recomputed "60.00"' in found


def test_a_page_taken_out_is_named() -> None:
    whole = sheet_pdf(demo_estimate(FULLEST))
    pages = len(PdfReader(BytesIO(whole)).pages)

    def change(pdf: pikepdf.Pdf) -> None:
        del pdf.pages[-1]

    found = pdf_findings(edited(whole, change))
    assert any(page_of(text) == pages and "printed nothing" in text for text in found)


def test_a_page_put_in_is_named() -> None:
    whole = sheet_pdf(demo_estimate(SMALLEST))

    def change(pdf: pikepdf.Pdf) -> None:
        pdf.pages.append(pdf.pages[0])

    pages = len(PdfReader(BytesIO(whole)).pages)
    found = pdf_findings(edited(whole, change))
    assert any(page_of(text) == pages + 1 and "recomputed nothing" in text for text in found)


def a_note_over_the_sum(pdf: pikepdf.Pdf) -> None:
    note = pikepdf.Dictionary(
        Type=pikepdf.Name.Annot,
        Subtype=pikepdf.Name.FreeText,
        Rect=[60, 600, 300, 640],
        Contents=pikepdf.String("$9,999.00"),
        DA=pikepdf.String("/Helv 17 Tf 0 g"),
    )
    pdf.pages[0].Annots = pdf.make_indirect(pikepdf.Array([note]))


def a_box_over_the_sum(pdf: pikepdf.Pdf) -> None:
    page = pdf.pages[0]
    page.contents_add(b"q 1 g 60 600 240 40 re f Q", prepend=False)


def a_picture_over_the_sum(pdf: pikepdf.Pdf) -> None:
    picture = pdf.make_stream(
        b"\x00" * 4,
        Type=pikepdf.Name.XObject,
        Subtype=pikepdf.Name.Image,
        Width=2,
        Height=2,
        BitsPerComponent=8,
        ColorSpace=pikepdf.Name.DeviceGray,
    )
    page = pdf.pages[0]
    name = page.add_resource(picture, pikepdf.Name.XObject)
    page.contents_add(f"q 240 0 0 40 60 600 cm {name} Do Q".encode(), prepend=False)


def half_the_page_cut_away(pdf: pikepdf.Pdf) -> None:
    pdf.pages[0].CropBox = pikepdf.Array([0, 0, 612, 400])


def white_ink(pdf: pikepdf.Pdf) -> None:
    page = pdf.pages[0]
    content = page.Contents.read_bytes()
    assert b"\n0 g" in content
    page.Contents = pdf.make_stream(content.replace(b"\n0 g", b"\n1 g", 1))


def letters_of_another_font(pdf: pikepdf.Pdf) -> None:
    first, second = (
        font.FontDescriptor
        for font in pdf.pages[0].Resources.Font.values()
        if "/FontDescriptor" in font
    )
    first.FontFile2, second.FontFile2 = second.FontFile2, first.FontFile2
    second.FontFile2 = first.FontFile2


OVERLAYS = [
    a_note_over_the_sum,
    a_box_over_the_sum,
    a_picture_over_the_sum,
    half_the_page_cut_away,
    white_ink,
    letters_of_another_font,
]


@pytest.mark.parametrize("overlay", OVERLAYS, ids=lambda overlay: overlay.__name__)
def test_what_is_laid_over_a_page_is_found(overlay: Callable[[pikepdf.Pdf], None]) -> None:
    assert pdf_findings(edited(small_pdf(), overlay))


@pytest.mark.parametrize("overlay", OVERLAYS, ids=lambda overlay: overlay.__name__)
def test_what_is_laid_over_a_page_is_found_whatever_library_is_said_to_have_drawn_it(
    overlay: Callable[[pikepdf.Pdf], None],
) -> None:
    def change(pdf: pikepdf.Pdf) -> None:
        other_library(small_pdf())(pdf)
        overlay(pdf)

    assert pdf_findings(edited(small_pdf(), change))


def test_other_bytes_of_the_same_library_with_the_same_texts_are_found() -> None:
    def nothing(pdf: pikepdf.Pdf) -> None:
        pass

    assert pdf_findings(edited(small_pdf(), nothing)) == [
        "file: printed other bytes than these figures give, recomputed the same bytes"
    ]


def test_the_same_pages_in_the_bytes_of_another_library_version_verify_by_their_texts() -> None:
    for name in (SMALLEST, FULLEST):
        whole = sheet_pdf(demo_estimate(name))
        assert pdf_findings(edited(whole, other_library(whole))) == []


def test_a_text_changed_in_the_bytes_of_another_library_version_is_found() -> None:
    whole = sheet_pdf(demo_estimate(SMALLEST))

    def change(pdf: pikepdf.Pdf) -> None:
        other_library(whole)(pdf)
        page = pdf.pages[0]
        instructions = list(pikepdf.parse_content_stream(page))
        shown = [place for place, each in enumerate(instructions) if str(each.operator) == "Tj"]
        first, second = (instructions[shown[place]] for place in (-1, -2))
        instructions[shown[-1]], instructions[shown[-2]] = second, first
        page.Contents = pdf.make_stream(pikepdf.unparse_content_stream(instructions))

    assert any(page_of(text) == 1 for text in pdf_findings(edited(whole, change)))


@pytest.mark.parametrize("keywords", ["", "paper=foolscap labels=fr", "=", "paper= labels", "a4"])
def test_keywords_of_any_kind_are_no_accident(keywords: str) -> None:
    def change(pdf: pikepdf.Pdf) -> None:
        pdf.docinfo["/Keywords"] = keywords

    pdf_findings(edited(small_pdf(), change))


def test_a_locked_pdf_is_refused_or_found() -> None:
    out = BytesIO()
    with pikepdf.open(BytesIO(small_pdf())) as pdf:
        pdf.save(out, encryption=pikepdf.Encryption(owner="hail", user="storm"))
    with pytest.raises(InputError):
        verify_pdf(out.getvalue(), "sheet.pdf")
