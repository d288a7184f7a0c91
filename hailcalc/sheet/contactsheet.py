"""The claim sheet's last pages: its photographs, three across, each with what is known of it.

A picture is printed from its preview, whose bytes go into the PDF as they are, so that anybody
can take them out again and compare their hash with the one in the sheet. A photograph whose
preview is not at hand has an empty frame. Points.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from datetime import datetime
from typing import NamedTuple

from hailcalc.claimfile import PhotographEntry
from hailcalc.photographs import PREVIEW_EDGE, preview_size
from hailcalc.problems import InputError, Problem
from hailcalc.sheet.layout import (
    BODY_BOLD,
    SMALL,
    SMALL_INK,
    SOFT,
    TINT,
    BoxMark,
    Flow,
    ImageMark,
    Style,
    wrap,
)
from hailcalc.sheet.source import Sheet

_ACROSS = 3
_GAP = 12.0
_TALLEST = 0.75
"""Height of a picture at most, as a share of its column's width."""
_WORDS = (
    "On the right the first 12 digits of each photograph's SHA-256, which stands whole in the JSON "
    "attached to this file. Times are by the camera's own clock."
)


class Picture(NamedTuple):
    """A preview that can be printed: its bytes and its size in pixels."""

    jpeg: bytes
    width: int
    height: int


def pictures(previews: Mapping[str, bytes]) -> dict[str, Picture]:
    """Previews by their SHA-256, made ready. Raises InputError for bytes that are no preview."""
    problems: list[Problem] = []
    found: dict[str, Picture] = {}
    for sha256, data in previews.items():
        size = preview_size(data)
        if hashlib.sha256(data).hexdigest() != sha256:
            words = f"the preview with the SHA-256 {sha256}"
            problems.append(Problem("previews", (sha256,), "other bytes", words))
        elif size is None:
            words = f"an RGB JPEG of at most {PREVIEW_EDGE} pixels along each edge"
            problems.append(Problem("previews", (sha256,), "no preview", words))
        else:
            found[sha256] = Picture(data, *size)
    if problems:
        raise InputError(problems)
    return found


def contact_sheet(flow: Flow, sheet: Sheet, found: Mapping[str, Picture]) -> None:
    """Every photograph of the claim, in its order, as far as its picture is found."""
    entries = sheet.estimate.claim.photographs
    if not entries:
        return
    width = (flow.inner - (_ACROSS - 1) * _GAP) / _ACROSS
    cells = [
        _cell(sheet, number, entry, found.get(entry.preview), width)
        for number, entry in enumerate(entries, 1)
    ]
    first = _heights(cells[:_ACROSS])
    flow.section("Photographs", keep=sum(first) + 2 * SMALL.leading + 8)
    flow.paragraph(_WORDS, SMALL)
    flow.y -= 6
    for start in range(0, len(cells), _ACROSS):
        row = cells[start : start + _ACROSS]
        picture_height, words_height = _heights(row)
        flow.need(picture_height + words_height)
        for column, cell in enumerate(row):
            _put(flow, cell, flow.left + column * (width + _GAP), width, picture_height)
        flow.y -= picture_height + words_height + 10


class _Cell(NamedTuple):
    """A photograph in its place: its picture and the size that it is printed in, and its words."""

    picture: Picture | None
    width: float
    height: float
    head: str
    lines: tuple[tuple[str, Style], ...]
    hash: str


def _cell(
    sheet: Sheet, number: int, entry: PhotographEntry, picture: Picture | None, width: float
) -> _Cell:
    """A photograph as wide as its column, or as tall as a picture may be."""
    wide, tall = (entry.width, entry.height) if picture is None else picture[1:]
    scale = min(width / wide, _TALLEST * width / tall)
    name = "Whole vehicle" if entry.panel is None else sheet.labels[entry.panel]
    texts = [(_time(sheet, entry.taken), SMALL_INK), (entry.note, SMALL_INK)]
    lines = tuple(
        (line, style) for text, style in texts if text for line in wrap(text, style, width)
    )
    return _Cell(picture, wide * scale, tall * scale, f"{number}  {name}", lines, entry.sha256[:12])


def _time(sheet: Sheet, taken: str | None) -> str:
    if taken is None:
        return "Time not known"
    time = datetime.fromisoformat(taken)
    offset = f" (UTC{taken[19:]})" if time.tzinfo else ""
    return f"{sheet.write.date(time.date())}, {taken[11:16]}{offset}"


def _heights(cells: list[_Cell]) -> tuple[float, float]:
    """Of a row: the tallest picture, and the most words below one."""
    picture = max(cell.height for cell in cells)
    return picture, max(_words_height(cell) for cell in cells)


def _words_height(cell: _Cell) -> float:
    return 2 + BODY_BOLD.leading + sum(style.leading for _, style in cell.lines)


def _put(flow: Flow, cell: _Cell, x: float, width: float, height: float) -> None:
    """A picture in the middle of its frame, and its words below."""
    bottom = flow.y - height
    if cell.picture is None:
        flow.put(BoxMark(x, bottom, width, height, None, SOFT))
        flow.text(x + width / 2, bottom + height / 2 - 3, "Not enclosed", SMALL, "center")
    else:
        flow.put(BoxMark(x, bottom, width, height, TINT, None))
        left = x + (width - cell.width) / 2
        foot = bottom + (height - cell.height) / 2
        jpeg, *pixels = cell.picture
        flow.put(ImageMark(left, foot, cell.width, cell.height, jpeg, (pixels[0], pixels[1])))
    y = bottom - 2 - BODY_BOLD.leading + 2.5
    flow.text(x, y, cell.head, BODY_BOLD)
    flow.text(x + width, y, cell.hash, SMALL, "right")
    for line, style in cell.lines:
        y -= style.leading
        flow.text(x, y, line, style)
