"""Verify a claim sheet from its PDF alone.

Four looks: the seal on the file's bytes; the attached JSON, recomputed like any sheet; the
pages, drawn again from the recomputed claim and compared byte for byte; and, where the
bytes differ (another version of a library lays out the same figures in other bytes), page
by page by the text that stands on them. So a changed digit shows whether it was changed in
the JSON, on a page, or anywhere else in the file.
"""

from __future__ import annotations

from collections.abc import Iterator
from difflib import SequenceMatcher
from io import BytesIO
from typing import Any

from pypdf import PdfReader

from hailcalc.claimfile import claim_from_data
from hailcalc.estimate import price
from hailcalc.files import text_of
from hailcalc.matrix import matrix_from_data
from hailcalc.problems import InputError, Problem, shown
from hailcalc.reading import MAX_TEXT_BYTES
from hailcalc.sheet.attach import seals
from hailcalc.sheet.pdf import PAPERS, sheet_pdf
from hailcalc.sheet.verify import Difference, read_sheet, verify_sheet
from hailcalc.vehicle import PANEL_LABELS

ATTACHMENT = "claim-sheet.json"
_MAX_PAGES = 500


def verify_pdf(data: bytes, file: str) -> tuple[dict[str, Any], list[Difference]]:
    """The sheet attached to a PDF, and every difference in it, on its pages and in its bytes.

    Raises InputError if the file is no PDF or carries no claim sheet.
    """
    differences: list[Difference] = []
    found = seals(data)
    if found is not None and found[0] != found[1]:
        differences.append(Difference("file identifier", *found))
    try:
        reader = PdfReader(BytesIO(data))
        attached = reader.attachments.get(ATTACHMENT)
        settings = _settings(reader)
    except Exception as error:
        # A damaged file can make the reader fail in any way; none of them is a sheet.
        reason = str(error) or type(error).__name__
        raise InputError([Problem(file, (), f"a damaged PDF ({shown(reason)})", _OURS)]) from None
    if not attached or found is None:
        raise InputError([Problem(file, (), f"a PDF without {ATTACHMENT}", _OURS)])
    if len(attached[0]) > MAX_TEXT_BYTES:
        raise InputError([Problem(file, (), f"{len(attached[0]):,} bytes attached", _OURS)])
    document = read_sheet(text_of(attached[0], f"{file}, {ATTACHMENT}"), f"{file}, {ATTACHMENT}")
    differences += verify_sheet(document, file)
    drawn = _drawn_again(document, settings)
    if drawn is not None and drawn != data:
        differences += _page_differences(reader, drawn, settings)
    return document, differences


_OURS = "a claim sheet made by hailcalc"


def _settings(reader: PdfReader) -> dict[str, str]:
    """How the sheet was drawn, from its keywords: paper, labels, reportlab."""
    keywords = reader.metadata.get("/Keywords", "") if reader.metadata else ""
    pairs = (word.partition("=") for word in str(keywords).split())
    return {key: value for key, _, value in pairs}


def _drawn_again(document: dict[str, Any], settings: dict[str, str]) -> bytes | None:
    """The PDF as it should be; None if claim or matrix are so wrong that there is none."""
    claim = claim_from_data(document["claim_file"]).claim
    matrix = matrix_from_data(document["matrix"]).matrix
    if claim is None or matrix is None:
        return None
    paper, labels = settings.get("paper", "letter"), settings.get("labels", "us")
    try:
        return sheet_pdf(
            price(claim, matrix),
            paper=paper if paper in PAPERS else "letter",
            labels=labels if labels in PANEL_LABELS else "us",
        )
    except InputError:
        return None


def _page_differences(
    reader: PdfReader, drawn: bytes, settings: dict[str, str]
) -> Iterator[Difference]:
    import reportlab

    ours = PdfReader(BytesIO(drawn))
    found = False
    pages = max(len(reader.pages), len(ours.pages))
    for number in range(min(pages, _MAX_PAGES)):
        for difference in _text_differences(number, _text(reader, number), _text(ours, number)):
            found = True
            yield difference
    for number, page in enumerate(reader.pages[:_MAX_PAGES], 1):
        for key in ("/Annots",):
            if key in page:
                found = True
                yield Difference(f"page {number}", "something laid over the page", "nothing")
    if not found and settings.get("reportlab") == reportlab.Version:
        yield Difference("file", "other bytes than these figures give", "the same bytes")


def _text(reader: PdfReader, number: int) -> list[str]:
    """The text lines of a page; none if there is no such page."""
    if number >= len(reader.pages):
        return []
    try:
        return reader.pages[number].extract_text().splitlines()
    except Exception as error:
        # Whatever is wrong with a page's content, it is not what we draw.
        return [f"unreadable: {type(error).__name__}"]


def _text_differences(number: int, printed: list[str], computed: list[str]) -> Iterator[Difference]:
    matcher = SequenceMatcher(None, printed, computed, autojunk=False)
    for tag, a, b, c, d in matcher.get_opcodes():
        if tag != "equal":
            yield Difference(
                f"page {number + 1}",
                shown(" / ".join(printed[a:b])) if b > a else "nothing",
                shown(" / ".join(computed[c:d])) if d > c else "nothing",
            )
