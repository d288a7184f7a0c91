"""The sheet's fonts: IBM Plex Sans Condensed, from its PyPI package, embedded in the PDF.

Static weights, all digits of one width, the whole Latin alphabet. Widths are in thousandths
of the font size. `unprintable` finds characters that the fonts do not have, so that a text
is refused before drawing rather than printed with holes.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from typing import Any

from hailcalc.problems import Problem

REGULAR = "SheetRegular"
BOLD = "SheetBold"
_FILES = {REGULAR: "IBMPlexSansCondensed-Regular.ttf", BOLD: "IBMPlexSansCondensed-SemiBold.ttf"}


@dataclass(frozen=True, slots=True)
class Face:
    """Advance widths by character code."""

    widths: dict[int, float]
    missing: float

    def width(self, text: str, size: float) -> float:
        """Width of `text` in points at `size` points."""
        widths, missing = self.widths, self.missing
        return sum(widths.get(ord(char), missing) for char in text) * size / 1000


@cache
def faces() -> dict[str, Face]:
    """The registered faces by name; registering happens once a process."""
    import fontpkg_ibm_plex_sans_condensed as plex
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    found: dict[str, Face] = {}
    for name, file in _FILES.items():
        font = TTFont(name, str(plex.ROOT / "files" / file))
        pdfmetrics.registerFont(font)
        face = font.face
        known = {code: face.charWidths[code] for code in face.charToGlyph}
        found[name] = Face(known, face.defaultWidth)
    return found


def unprintable(text: str) -> list[str]:
    """The characters of `text` that the sheet's fonts lack, each once."""
    widths = faces()[REGULAR].widths
    return [char for char in dict.fromkeys(text) if ord(char) not in widths]


def unprintable_texts(value: Any, file: str, where: tuple[str | int, ...]) -> Iterator[Problem]:
    """Texts in JSON values with characters that the fonts lack, each with its place."""
    if isinstance(value, str):
        missing = unprintable(value)
        if missing:
            found = ", ".join(f"{char} (U+{ord(char):04X})" for char in missing[:5])
            yield Problem(
                file, where, found, "Latin letters, digits and signs that the sheet's fonts have"
            )
    elif isinstance(value, dict):
        for key, inner in value.items():
            yield from unprintable_texts(inner, file, (*where, key))
    elif isinstance(value, list):
        for index, inner in enumerate(value):
            yield from unprintable_texts(inner, file, (*where, index))
