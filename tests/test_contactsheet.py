"""The contact sheet: photographs on the last pages of a claim sheet, and their verification.

Pictures are made here and examined as photographs are. Where they stand is read from the page
setter's marks and, by pypdf, from the drawn file; pikepdf makes the forgeries. Points.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from functools import cache
from io import BytesIO
from typing import Any

import pikepdf
import pytest
from PIL import Image
from pypdf import PdfReader

from hailcalc.photographs import Photograph, examine
from hailcalc.problems import InputError
from hailcalc.sheet import pdf as drawing
from hailcalc.sheet.contactsheet import pictures
from hailcalc.sheet.layout import BoxMark, Flow, ImageMark, TextMark
from hailcalc.sheet.pdf import PAPERS, sheet_pdf
from hailcalc.sheet.pdfcheck import verify_pdf
from hailcalc.vehicle import PANEL_LABELS
from tests.builders import SEDAN, Table, claim, estimate, matrix, page_texts, panel
from tests.test_photographs import encoded, noise, quarters
from tests.test_sheet_pdf import MARGIN, near, page_faults
from tests.test_verify import edited, other_library

SIZES = [(160, 120), (120, 160), (160, 90), (100, 100), (240, 60), (60, 240), (160, 120)]
"""Lying, standing, broad, square, very broad, very tall."""

NOTE = "Sharp dent beside the washer jet, seen against the light board from the driver's side"
TIMES = ["2026-05-19T16:20:05", None, "2026-05-19T16:21:00-05:00"]


@cache
def photograph(number: int) -> Photograph:
    return examine(encoded(noise(*SIZES[number % len(SIZES)], seed=number)), f"{number}.jpg")


def listed(number: int, **more: Any) -> Table:
    """A photograph in the claim file."""
    found = photograph(number)
    entry = {
        "panel": [None, *SEDAN][number % 5],
        "sha256": found.sha256,
        "preview": found.preview_sha256,
        "taken": TIMES[number % 3],
        "width": found.width,
        "height": found.height,
        "note": ["", NOTE, "Overview"][number % 3],
    }
    return entry | more


def photographed(count: int, **more: Any) -> Table:
    """A claim with so many photographs."""
    return claim(panel("hood"), photographs=[listed(number, **more) for number in range(count)])


def previews(count: int, *, but: frozenset[int] = frozenset()) -> dict[str, bytes]:
    """The previews of so many photographs, but for some."""
    found = (photograph(number) for number in range(count) if number not in but)
    return {each.preview_sha256: each.preview for each in found}


@cache
def drawn(count: int, paper: str = "letter") -> bytes:
    return sheet_pdf(estimate(photographed(count)), paper=paper, previews=previews(count))


def composed(data: Table, given: dict[str, bytes], paper: str = "letter") -> Flow:
    sheet = drawing._sheet(estimate(data), "us")
    return drawing._compose(sheet, *PAPERS[paper], pictures(given))


def marks(flow: Flow, kind: type[Any]) -> list[tuple[int, Any]]:
    """All marks of a kind with their page."""
    return [
        (number, mark)
        for number, page in enumerate(flow.pages, 1)
        for mark in page
        if isinstance(mark, kind)
    ]


def findings(data: bytes) -> list[str]:
    return [str(difference) for difference in verify_pdf(data, "sheet.pdf")[1]]


def words(data: bytes) -> str:
    return " ".join(" ".join(page_texts(data)).split())


# --- what is printed --------------------------------------------------------------------------


def test_a_sheet_without_photographs_says_nothing_of_them() -> None:
    text = words(sheet_pdf(estimate(claim(panel("hood")))))
    assert "Photographs" not in text
    assert "SHA-256" not in text


def test_each_photograph_has_its_number_panel_time_note_and_hash() -> None:
    text = words(drawn(7))
    assert "Photographs" in text
    for number in range(7):
        assert photograph(number).sha256[:12] in text
    assert "1 Whole vehicle" in text
    assert "2 Hood" in text
    assert text.count("May 19, 2026, 16:20 ") == 3
    assert text.count("May 19, 2026, 16:21 (UTC-05:00)") == 2
    assert text.count("Time not known") == 2
    assert text.count(NOTE) == 2
    assert "Not enclosed" not in text


def test_photographs_come_last_and_in_the_order_of_the_claim() -> None:
    flow = composed(photographed(7), previews(7))
    texts = [mark.text for _, mark in marks(flow, TextMark)]
    heading = texts.index("Photographs")
    assert heading > texts.index("Panels, plate by plate")
    hashes = [photograph(number).sha256[:12] for number in range(7)]
    assert [text for text in texts[heading:] if text in hashes] == hashes


@pytest.mark.parametrize("paper", ["letter", "a4"])
@pytest.mark.parametrize("count", [1, 2, 3, 4, 7, 30])
def test_pictures_keep_their_shape_stand_three_across_and_within_the_page(
    count: int, paper: str
) -> None:
    flow = composed(photographed(count), previews(count), paper)
    placed = marks(flow, ImageMark)
    assert len(placed) == count
    width = (flow.width - 2 * MARGIN - 24) / 3
    lefts = {round(MARGIN + column * (width + 12), 2) for column in range(3)}
    frames = [(page, box) for page, box in marks(flow, BoxMark) if near(box.width, width)]
    for number, (page, mark) in enumerate(placed):
        wide, tall = SIZES[number % len(SIZES)]
        assert mark.pixels == (wide, tall)
        assert mark.width / mark.height == pytest.approx(wide / tall)
        assert mark.width == pytest.approx(width) or mark.height == pytest.approx(width * 0.75)
        assert mark.y >= flow.bottom
        assert mark.y + mark.height <= flow.height - flow.top + 0.01
        within = [
            box
            for at, box in frames
            if at == page
            and box.x - 0.01 <= mark.x
            and mark.x + mark.width <= box.x + box.width + 0.01
            and box.y - 0.01 <= mark.y
            and mark.y + mark.height <= box.y + box.height + 0.01
        ]
        assert len(within) == 1
        assert round(within[0].x, 2) in lefts
    assert page_faults(estimate(photographed(count)), paper, "us") == []


@pytest.mark.parametrize("labels", ["us", "uk"])
@pytest.mark.parametrize("note", ["W" * 200, "washer jet " * 18])
def test_long_words_run_into_nothing(labels: str, note: str) -> None:
    longest = max(SEDAN, key=lambda name: len(PANEL_LABELS[labels][name]))
    data = photographed(9, panel=longest, note=note)
    for paper in PAPERS:
        assert page_faults(estimate(data), paper, labels) == []


def test_words_stand_where_they_do_whether_a_picture_is_enclosed_or_not() -> None:
    with_, without = composed(photographed(7), previews(7)), composed(photographed(7), {})
    assert [pair for pair in marks(without, TextMark) if pair[1].text != "Not enclosed"] == marks(
        with_, TextMark
    )


def test_a_photograph_that_is_not_at_hand_has_an_empty_frame() -> None:
    given = previews(7, but=frozenset({4}))
    data = sheet_pdf(estimate(photographed(7)), previews=given)
    assert words(data).count("Not enclosed") == 1
    assert photograph(4).sha256[:12] in words(data)
    assert findings(data) == []


def test_the_heading_does_not_stand_without_a_photograph_at_the_foot_of_a_page() -> None:
    """Whatever comes before: a sheet is made longer until every break has come."""
    for count in range(1, 40):
        oversize = [{"mm": 31 + number} for number in range(count)]
        data = claim(panel("hood", oversize=oversize), photographs=list(map(listed, range(9))))
        flow = composed(data, previews(9))
        (heading,) = [page for page, mark in marks(flow, TextMark) if mark.text == "Photographs"]
        assert marks(flow, ImageMark)[0][0] == heading, count


# --- the bytes --------------------------------------------------------------------------------


def images(pdf: pikepdf.Pdf) -> list[Any]:
    """All picture objects of an opened PDF, page by page."""
    return [image for page in pdf.pages for image in on(page).values()]


def on(page: pikepdf.Page) -> dict[str, Any]:
    """The picture objects of a page by name."""
    objects: Any = page.Resources.get("/XObject", {})
    return dict(objects.items())


def painted(data: bytes) -> list[Any]:
    """All picture objects of a PDF, page by page."""
    found = []
    for page in PdfReader(BytesIO(data)).pages:
        resources: Any = page["/Resources"]
        found += [each.get_object() for each in resources.get("/XObject", {}).values()]
    return found


def test_a_preview_stands_in_the_file_byte_for_byte_and_any_reader_shows_it() -> None:
    data = drawn(7)
    hashes = {hashlib.sha256(each.get_data()).hexdigest() for each in painted(data)}
    assert hashes == set(previews(7))
    for preview in previews(7).values():
        assert preview in data
    with pikepdf.open(BytesIO(data)) as pdf:
        sizes = sorted(pikepdf.PdfImage(image).as_pil_image().size for image in images(pdf))
    assert sizes == sorted(SIZES)


def test_a_picture_of_two_panels_stands_in_the_file_once() -> None:
    entries = [listed(0, panel="hood"), listed(0, panel="roof")]
    data = sheet_pdf(estimate(claim(panel("hood"), photographs=entries)), previews=previews(1))
    assert data.count(photograph(0).preview) == 1
    assert findings(data) == []
    flow = composed(claim(panel("hood"), photographs=entries), previews(1))
    assert len(marks(flow, ImageMark)) == 2


@pytest.mark.parametrize("paper", ["letter", "a4"])
@pytest.mark.parametrize("count", [1, 7, 30])
def test_the_same_photographs_give_the_same_file_and_it_verifies(count: int, paper: str) -> None:
    again = sheet_pdf(estimate(photographed(count)), paper=paper, previews=previews(count))
    assert drawn(count, paper) == again
    assert findings(again) == []


def test_pictures_that_the_claim_does_not_name_are_not_printed() -> None:
    given = previews(30)
    assert sheet_pdf(estimate(photographed(2)), previews=given) == drawn(2)


def test_bytes_that_are_no_preview_are_refused_by_their_hash() -> None:
    png = encoded(quarters(), "PNG")
    name = hashlib.sha256(png).hexdigest()
    other = photograph(1).preview_sha256
    with pytest.raises(InputError) as caught:
        sheet_pdf(estimate(photographed(2)), previews={name: png, other: photograph(0).preview})
    found = [str(problem) for problem in caught.value.problems]
    assert found[0].startswith(f"previews: {name}: found no preview, expected an RGB JPEG")
    assert found[1].startswith(f"previews: {other}: found other bytes")


# --- forgeries --------------------------------------------------------------------------------


def in_place_of_the_first(data: bytes) -> Callable[[pikepdf.Pdf], object]:
    """Other JPEG bytes in the object of the first picture."""

    def change(pdf: pikepdf.Pdf) -> None:
        (image, *_) = images(pdf)
        image.write(data, filter=pikepdf.Name.DCTDecode)

    return change


def test_a_picture_that_was_swapped_is_found_and_its_page_named() -> None:
    other = encoded(noise(*SIZES[0], seed=99))
    found = findings(edited(drawn(7), in_place_of_the_first(other)))
    assert any("pictures that the sheet does not name" in text for text in found)
    assert any('recomputed "Not enclosed"' in text for text in found)
    assert all(text.startswith("page ") for text in found)


def test_one_changed_byte_of_a_picture_is_found() -> None:
    preview = photograph(0).preview
    whole = drawn(7)
    place = whole.index(preview) + len(preview) // 2
    changed = whole[:place] + bytes([whole[place] ^ 1]) + whole[place + 1 :]
    assert any("file identifier" in text for text in findings(changed))
    # Sealed anew, it still does not have the hash that the sheet names.
    assert any("pictures" in text for text in findings(edited(changed, lambda pdf: None)))


def test_pictures_that_changed_places_are_found() -> None:
    def change(pdf: pikepdf.Pdf) -> None:
        for page in pdf.pages:
            names = list(on(page))
            if len(names) > 1:
                objects = page.Resources.XObject
                one, other = objects[names[0]], objects[names[1]]
                objects[names[0]], objects[names[1]] = other, one

    assert findings(edited(drawn(7), change))


def test_a_picture_taken_out_is_found() -> None:
    def change(pdf: pikepdf.Pdf) -> None:
        page = next(page for page in pdf.pages if on(page))
        instructions = [
            each for each in pikepdf.parse_content_stream(page) if str(each.operator) != "Do"
        ]
        page.Contents = pdf.make_stream(pikepdf.unparse_content_stream(instructions))

    assert findings(edited(drawn(7), change))


@pytest.mark.parametrize(
    "change",
    [
        lambda image: image.__setattr__("Decode", pikepdf.Array([1, 0, 1, 0, 1, 0])),
        lambda image: image.__setattr__("ColorSpace", pikepdf.Name.DeviceCMYK),
        lambda image: image.__setattr__("Width", 16),
        lambda image: image.__setattr__("Mask", pikepdf.Array([0, 255, 0, 255, 0, 255])),
    ],
    ids=["in negative", "in other colours", "cut", "seen through"],
)
def test_a_picture_that_is_to_be_read_otherwise_is_found(
    change: Callable[[pikepdf.Stream], None],
) -> None:
    found = findings(edited(drawn(7), lambda pdf: change(images(pdf)[0])))
    assert any("pictures" in text for text in found)


def test_a_strange_preview_named_by_the_sheet_is_no_way_round_the_pages() -> None:
    """The sheet names a picture that is none of ours; the pages are compared all the same."""
    grey = encoded(quarters().convert("L"))
    name = hashlib.sha256(grey).hexdigest()
    data = sheet_pdf(estimate(photographed(1, preview=name)))
    assert findings(data) == []

    def change(pdf: pikepdf.Pdf) -> None:
        page = pdf.pages[-1]
        stream = pdf.make_stream(grey)
        stream.Type, stream.Subtype = pikepdf.Name.XObject, pikepdf.Name.Image
        stream.Width, stream.Height, stream.BitsPerComponent = 80, 48, 8
        stream.ColorSpace, stream.Filter = pikepdf.Name.DeviceGray, pikepdf.Name.DCTDecode
        page.add_resource(stream, pikepdf.Name.XObject, pikepdf.Name.Strange)
        page.contents_add(pdf.make_stream(b"q 90 0 0 90 60 60 cm /Strange Do Q"))

    assert any("pictures" in text for text in findings(edited(data, change)))


def test_a_sheet_drawn_by_another_version_of_the_library_verifies_with_its_pictures() -> None:
    assert findings(edited(drawn(7), other_library(drawn(7)))) == []
    swapped = in_place_of_the_first(encoded(noise(*SIZES[0], seed=99)))
    twice = edited(edited(drawn(7), swapped), other_library(drawn(7)))
    assert any("pictures" in text for text in findings(twice))


def test_pages_of_a_claim_that_cannot_be_printed_are_never_taken_for_ours(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A note that the fonts lack would else keep the pages from being drawn and compared."""
    with monkeypatch.context() as patch:
        patch.setattr(drawing, "unprintable_texts", lambda *_: iter(()))
        data = sheet_pdf(estimate(claim(panel("hood", note="漢")), matrix()))
    assert findings(data) == ["pages: printed a sheet, recomputed none, since it cannot be printed"]


def test_a_note_that_cannot_be_printed_is_refused_with_its_place() -> None:
    with pytest.raises(InputError) as caught:
        sheet_pdf(estimate(photographed(1, note="漢")))
    assert "claim_file: photographs[0].note" in str(caught.value)


def test_pictures_can_be_looked_at_as_they_were_taken() -> None:
    """The printed picture is the preview of the photograph that the claim names."""
    (image,) = painted(drawn(1))
    with Image.open(BytesIO(image.get_data())) as shown:
        assert shown.size == SIZES[0]
        assert (image["/Width"], image["/Height"]) == SIZES[0]
