"""Things that a PDF carries besides its pages: the attached JSON, and a seal on its bytes.

The attachment is an embedded file (ISO 32000-1, 7.11.4) that any reader lists. The seal is
the file identifier (14.4): the first 128 bits of SHA-256 over the whole file with the
identifier's own digits read as zeros. It shows a changed byte anywhere, by accident or by a
careless hand; it is no signature, for anybody can compute it.
"""

from __future__ import annotations

import hashlib
import re
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

_IDENTIFIER = re.compile(rb"/ID\s*\[\s*<([0-9a-f]{32})>\s*<([0-9a-f]{32})>\s*\]")


def attach_json(canvas: Canvas, name: str, data: bytes) -> None:
    """Attach `data` to the document that `canvas` draws, as a JSON file called `name`."""
    from reportlab.pdfbase import pdfdoc

    document: Any = canvas._doc  # type: ignore[attr-defined]
    stream = pdfdoc.PDFStream(
        dictionary=pdfdoc.PDFDictionary(
            {
                "Type": pdfdoc.PDFName("EmbeddedFile"),
                "Subtype": "/application#2Fjson",
                "Params": pdfdoc.PDFDictionary({"Size": len(data)}),
            }
        ),
        content=data,
        filters=[pdfdoc.PDFZCompress],
    )
    embedded = document.Reference(stream)
    specification = pdfdoc.PDFDictionary(
        {
            "Type": pdfdoc.PDFName("Filespec"),
            "F": pdfdoc.PDFString(name),
            "UF": pdfdoc.PDFString(name),
            "Desc": pdfdoc.PDFString("The claim sheet as JSON"),
            "AFRelationship": pdfdoc.PDFName("Data"),
            "EF": pdfdoc.PDFDictionary({"F": embedded, "UF": embedded}),
        }
    )
    reference = document.Reference(specification)
    names = pdfdoc.PDFArray([pdfdoc.PDFString(name), reference])
    files = pdfdoc.PDFDictionary({"Names": names})
    document.Catalog.Names = pdfdoc.PDFDictionary({"EmbeddedFiles": files})


def seal(data: bytes) -> bytes:
    """The file with its identifier set to its seal."""
    match = _identifier(data)
    if match is None:
        raise ValueError("no file identifier to seal")
    mark = _seal_of(data, match)
    return (
        data[: match.start(1)]
        + mark
        + data[match.end(1) : match.start(2)]
        + mark
        + data[match.end(2) :]
    )


def seals(data: bytes) -> tuple[str, str] | None:
    """The identifier in a file and the one that its bytes give; None if it has none."""
    match = _identifier(data)
    if match is None:
        return None
    printed = (
        match[1].decode() if match[1] == match[2] else f"{match[1].decode()} {match[2].decode()}"
    )
    return printed, _seal_of(data, match).decode()


def _identifier(data: bytes) -> re.Match[bytes] | None:
    """The last file identifier, which the trailer holds."""
    found = None
    for match in _IDENTIFIER.finditer(data):
        found = match
    return found


def _seal_of(data: bytes, match: re.Match[bytes]) -> bytes:
    zeros = b"0" * 32
    blank = (
        data[: match.start(1)]
        + zeros
        + data[match.end(1) : match.start(2)]
        + zeros
        + data[match.end(2) :]
    )
    return hashlib.sha256(blank).hexdigest()[:32].encode()
