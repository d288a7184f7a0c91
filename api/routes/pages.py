"""The web page for the car park and the desk: plain files, and the words that they need.

The files are served as they lie in `api/pages`; names are looked up among those found, never
put together to a path. What bodies, panels and coins there are, what they are called, and what
cautions say comes from hailcalc itself, so that the page has no list of its own. Coins are mm.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any, get_args

from fastapi import APIRouter
from starlette.exceptions import HTTPException
from starlette.responses import JSONResponse, Response

from hailcalc.access.plan import METHOD_WORDS
from hailcalc.cautions import CAUTIONS
from hailcalc.coins import COIN_SETS
from hailcalc.storm.compare import MEASURE_LABELS
from hailcalc.storm.economics import COST_LABELS, REVENUE_LABELS
from hailcalc.storm.report import WHAT_INTERVALS_ARE
from hailcalc.vehicle import BODIES, PANEL_LABELS, PANELS, PANELS_OF_BODY, Equipment

router = APIRouter(include_in_schema=False)

PAGE_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; "
    "connect-src 'self'; form-action 'none'; base-uri 'none'; frame-ancestors 'none'"
)
"""The page has no inline script or style and asks nobody but this server."""

_TYPES = {".html": "text/html", ".css": "text/css", ".js": "text/javascript"}


def _read_files(folder: Path) -> dict[str, tuple[bytes, str]]:
    return {
        path.name: (path.read_bytes(), _TYPES[path.suffix])
        for path in sorted(folder.iterdir())
        if path.suffix in _TYPES
    }


_FILES = _read_files(Path(__file__).parents[1] / "pages")


def _words() -> dict[str, Any]:
    """What the pages must know of vehicles, coins, access, cautions and storms' figures."""
    return {
        "bodies": {
            body: [panel for panel in PANELS if panel in PANELS_OF_BODY[body]] for body in BODIES
        },
        "labels": PANEL_LABELS,
        "coins": {
            name: [{"name": coin.name, "mm": str(coin.mm)} for coin in coins]
            for name, coins in COIN_SETS.items()
        },
        "equipment": get_args(Equipment),
        "methods": METHOD_WORDS,
        "cautions": CAUTIONS,
        "storms": {
            "measures": MEASURE_LABELS,
            "revenue": REVENUE_LABELS,
            "costs": COST_LABELS,
            "limits": WHAT_INTERVALS_ARE,
        },
    }


def _file(name: str) -> Response:
    if name not in _FILES:
        raise HTTPException(404)
    content, media_type = _FILES[name]
    return Response(
        content, media_type=media_type, headers={"Content-Security-Policy": PAGE_POLICY}
    )


@router.get("/")
def page() -> Response:
    """The page."""
    return _file("index.html")


@router.get("/claims")
def desk() -> Response:
    """The desk: the claims of the store."""
    return _file("claims.html")


@router.get("/storms")
def storms() -> Response:
    """What the storms earned, for the owner."""
    return _file("storms.html")


@router.get("/answer")
def adjuster() -> Response:
    """Where an adjuster's link leads."""
    return _file("answer.html")


@router.get("/pages/words.json")
def words() -> JSONResponse:
    """Bodies with their panels in the sheet's order, labels, coin sets and the like."""
    return JSONResponse(_words())


@router.get("/pages/{name}")
def file(name: str) -> Response:
    """A style sheet or script of the page."""
    return _file(name)
