"""A composed flow of pages as the bytes of a PDF: who made it and how, its pages, its seal."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from io import BytesIO

from hailcalc.sheet.attach import seal
from hailcalc.sheet.layout import Flow, Mark, draw, foot, new_canvas


def finished(
    flow: Flow,
    title: str,
    paper: str,
    labels: str,
    *,
    author: str | None = None,
    subject: str | None = None,
    furniture: Callable[[Flow, int, int], Sequence[Mark]] | None = None,
) -> bytes:
    """Draw a flow; without `furniture` every page has its title and number at the foot.

    The keywords hold what the drawing depends on, so that it can be drawn again.
    """
    import reportlab

    from hailcalc import __version__

    out = BytesIO()
    canvas = new_canvas(out, (flow.width, flow.height))
    canvas.setTitle(title)
    if author is not None:
        canvas.setAuthor(author)
    if subject is not None:
        canvas.setSubject(subject)
    canvas.setCreator(f"hailcalc {__version__}")
    canvas.setKeywords(f"paper={paper} labels={labels} reportlab={reportlab.Version}")
    draw(canvas, flow, furniture or (lambda page, at, pages: foot(page, title, at, pages)))
    canvas.save()
    return seal(out.getvalue())
