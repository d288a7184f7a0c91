"""Verify a claim sheet from its PDF alone.

Four looks: the seal on the file's bytes; the attached JSON, recomputed like any sheet; the
pages, drawn again from the recomputed claim and compared byte for byte; and, where the
bytes differ (another version of a library lays out the same figures in other bytes), page
by page by the text that stands on them. So a changed digit shows whether it was changed in
the JSON, on a page, or anywhere else in the file.
"""

from __future__ import annotations

import hashlib
import logging
from collections.abc import Iterator
from dataclasses import dataclass
from difflib import SequenceMatcher
from io import BytesIO
from typing import Any

from pypdf import PageObject, PdfReader

from hailcalc.claimfile import claim_from_data
from hailcalc.estimate import price
from hailcalc.files import MAX_PDF_BYTES, text_of
from hailcalc.matrix import matrix_from_data
from hailcalc.photographs import preview_size
from hailcalc.problems import InputError, Problem, shown
from hailcalc.sheet.attach import seals
from hailcalc.sheet.document import SIGNATURE
from hailcalc.sheet.pdf import PAPERS, sheet_pdf
from hailcalc.sheet.verify import Difference, read_sheet, verify_sheet
from hailcalc.signing import Key
from hailcalc.vehicle import PANEL_LABELS

ATTACHMENT = "claim-sheet.json"
_MAX_PAGES = 500


def verify_pdf(
    data: bytes, file: str, key: Key | None = None
) -> tuple[dict[str, Any], list[Difference]]:
    """The sheet attached to a PDF, and every difference in it, on its pages and in its bytes.

    With a `key` it must be signed by that. Raises InputError if the file is no PDF or carries no
    claim sheet.
    """
    # The reader's remarks on damaged files would stand among ours.
    logging.getLogger("pypdf").setLevel(logging.CRITICAL)
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
    if len(attached[0]) > MAX_PDF_BYTES:
        raise InputError([Problem(file, (), f"{len(attached[0]):,} bytes attached", _OURS)])
    document = read_sheet(text_of(attached[0], f"{file}, {ATTACHMENT}"), f"{file}, {ATTACHMENT}")
    differences += verify_sheet(document, file, key)
    previews = _previews(reader, document)
    drawn = _drawn_again(document, settings, previews)
    if drawn is None and not differences:
        # A sound claim with a text that the fonts lack: we never drew these pages.
        differences.append(Difference("pages", "a sheet", "none, since it cannot be printed"))
    elif drawn is not None and drawn != data:
        differences += _page_differences(reader, drawn, settings)
    return document, differences


_OURS = "a claim sheet made by hailcalc"


def _settings(reader: PdfReader) -> dict[str, str]:
    """How the sheet was drawn, from its keywords: paper, labels, reportlab."""
    keywords = reader.metadata.get("/Keywords", "") if reader.metadata else ""
    pairs = (word.partition("=") for word in str(keywords).split())
    return {key: value for key, _, value in pairs}


def _previews(reader: PdfReader, document: dict[str, Any]) -> dict[str, bytes]:
    """The pictures on the pages that are previews of the sheet's own photographs, by SHA-256."""
    claim = claim_from_data(document["claim_file"]).claim
    wanted = {entry.preview for entry in claim.photographs} if claim is not None else set()
    found: dict[str, bytes] = {}
    if not wanted:
        return found
    try:
        for page in reader.pages[:_MAX_PAGES]:
            for _, painted in _painted_objects(page):
                data = painted.get_data()
                sha256 = hashlib.sha256(data).hexdigest()
                if sha256 in wanted and sha256 not in found and preview_size(data) is not None:
                    found[sha256] = data
    except Exception:
        # Pages that cannot be read are reported when they are compared.
        return found
    return found


def _drawn_again(
    document: dict[str, Any], settings: dict[str, str], previews: dict[str, bytes]
) -> bytes | None:
    """The PDF as it should be; None if claim or matrix are so wrong that there is none."""
    claim = claim_from_data(document["claim_file"]).claim
    matrix = matrix_from_data(document["matrix"]).matrix
    if claim is None or matrix is None:
        return None
    signature = document.get(SIGNATURE)
    paper, labels = settings.get("paper", "letter"), settings.get("labels", "us")
    try:
        return sheet_pdf(
            price(claim, matrix),
            paper=paper if paper in PAPERS else "letter",
            labels=labels if labels in PANEL_LABELS else "us",
            previews=previews,
            signature=signature if isinstance(signature, str) else None,
        )
    except InputError:
        return None


def _page_differences(
    reader: PdfReader, drawn: bytes, settings: dict[str, str]
) -> Iterator[Difference]:
    import reportlab

    ours = [_Looks.of(page) for page in PdfReader(BytesIO(drawn)).pages]
    try:
        theirs = [_Looks.of(page) for page in reader.pages[:_MAX_PAGES]]
    except Exception as error:
        # Whatever is wrong with the pages, they are not what we draw.
        yield Difference("pages", f"unreadable ({type(error).__name__})", f"{len(ours)} pages")
        return
    found = False
    nothing = _Looks((), (), (), (), ())
    for number in range(max(len(ours), len(theirs))):
        printed = theirs[number] if number < len(theirs) else nothing
        computed = ours[number] if number < len(ours) else nothing
        for difference in _differences_of_looks(number, printed, computed):
            found = True
            yield difference
    if not found and settings.get("reportlab") == reportlab.Version:
        yield Difference("file", "other bytes than these figures give", "the same bytes")


_SPEECH = {b"Tj", b"TJ", b"'", b'"', b"Tf", b"T*", b"TL", b"BT", b"ET", b"q", b"Q"}
"""Operators that set text, which is compared as text; all others are compared one by one."""


@dataclass(frozen=True, slots=True)
class _Looks:
    """What a page shows, whatever bytes say it.

    Text lines; places, colours and strokes; how it is cut; which font files draw its letters; and
    its pictures.
    """

    text: tuple[str, ...]
    painting: tuple[str, ...]
    frame: tuple[str, ...]
    letters: tuple[str, ...]
    pictures: tuple[str, ...]

    @classmethod
    def of(cls, page: PageObject) -> _Looks:
        """The looks of a page."""
        contents = page.get_contents()
        operations = contents.operations if contents is not None else []
        painting = tuple(
            " ".join([*map(_rounded, operands), operator.decode("ascii", "replace")])
            for operands, operator in operations
            if operator not in _SPEECH
        )
        frame = tuple(
            f"{name} {[round(float(edge), 1) for edge in box]}"
            for name, box in (("paper", page.mediabox), ("cut", page.cropbox))
        )
        laid_over = [f"{len(page.annotations)} notes laid over"] if page.annotations else []
        turned = [f"turned by {page.rotation}"] if page.rotation else []
        return cls(
            tuple(page.extract_text().splitlines()),
            painting,
            (*frame, *laid_over, *turned),
            tuple(sorted(_font_files(page))),
            tuple(sorted(_pictures(page))),
        )


def _font_files(page: PageObject) -> Iterator[str]:
    """Hashes of the embedded font files of a page; a font without one counts by its name."""
    resources: Any = page.get("/Resources", {})
    fonts = resources.get_object().get("/Font", {}).get_object()
    for font in fonts.values():
        described = font.get_object().get("/FontDescriptor", {}).get_object()
        file = described.get("/FontFile2")
        if file is None:
            yield str(font.get_object().get("/BaseFont"))
        else:
            yield hashlib.sha256(file.get_object().get_data()).hexdigest()


def _painted_objects(page: PageObject) -> Iterator[tuple[str, Any]]:
    """Names and streams of what a page can paint besides text and strokes."""
    resources: Any = page.get("/Resources", {})
    painted = resources.get_object().get("/XObject")
    if painted is None:
        return
    for name, stream in painted.get_object().items():
        yield str(name), stream.get_object()


def _pictures(page: PageObject) -> Iterator[str]:
    """Everything about the pictures of a page: name, how it is to be read, hash of its bytes."""
    for name, painted in _painted_objects(page):
        about = " ".join(f"{key} {painted[key]}" for key in sorted(painted) if key != "/Length")
        yield f"{name} {about} {hashlib.sha256(painted.get_data()).hexdigest()}"


def _rounded(operand: Any) -> str:
    try:
        return f"{float(operand):.1f}"
    except (TypeError, ValueError):
        return str(operand)[:40]


def _differences_of_looks(number: int, printed: _Looks, computed: _Looks) -> Iterator[Difference]:
    yield from _text_differences(number, list(printed.text), list(computed.text))
    place = f"page {number + 1}"
    if printed.frame != computed.frame:
        yield Difference(place, ", ".join(printed.frame), ", ".join(computed.frame) or "no page")
    if printed.painting != computed.painting:
        theirs, ours = len(printed.painting), len(computed.painting)
        found = f"places, colours, boxes or lines drawn otherwise ({theirs} marks)"
        yield Difference(place, found, f"{ours} marks")
    if printed.letters != computed.letters:
        yield Difference(place, "letters drawn by other font files", "the sheet's own fonts")
    if printed.pictures != computed.pictures:
        strange = len(set(printed.pictures) - set(computed.pictures))
        found = f"pictures that the sheet does not name ({strange})"
        yield Difference(place, found, "its photographs, byte for byte")


def _text_differences(number: int, printed: list[str], computed: list[str]) -> Iterator[Difference]:
    matcher = SequenceMatcher(None, printed, computed, autojunk=False)
    for tag, a, b, c, d in matcher.get_opcodes():
        if tag != "equal":
            yield Difference(
                f"page {number + 1}",
                shown(" / ".join(printed[a:b])) if b > a else "nothing",
                shown(" / ".join(computed[c:d])) if d > c else "nothing",
            )
