"""Generic outlines of a body's panels, to count dents on a drawing.

Millimetres; a panel's coordinates start at the lower left corner of its box, x to the right, y
up, the panel seen from outside. One answer has all panels of a body, so that somebody who has
it goes on counting without a connection. It depends on the body and the sizes alone and names
nobody, so that a cache may keep it.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Path, Query
from pydantic import BaseModel, ConfigDict, Field
from starlette.responses import JSONResponse

from api.problems import Refusal, at
from api.responses import problem_responses
from hailcalc.problems import shown
from hailcalc.vehicle import BODIES, PANELS, PANELS_OF_BODY, ZoneKind
from hailcalc.vehicle.outlines import TYPICAL_SIZE, Outline, area_mm2, outline

router = APIRouter(prefix="/v1/outlines", tags=["outlines"])

CACHE_CONTROL = "public, max-age=86400"
"""A day; another version may draw a panel otherwise."""

Coordinates = tuple[int, int]


class OutlineQuery(BaseModel):
    """The vehicle's overall size, mm; a typical one of the body where nothing is given."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    length_mm: int | None = Field(None, ge=2000, le=9000, description="Overall length, mm.")
    width_mm: int | None = Field(None, ge=1000, le=2600, description="Without mirrors, mm.")
    height_mm: int | None = Field(None, ge=900, le=3500, description="Overall height, mm.")


class OutlineZone(BaseModel):
    """A part of a panel that marks the dents in it.

    `area`: a ring, not closed. `line`: a polyline, `reach_mm` to either side. `border`: no
    points, the strip of `reach_mm` along the outline.
    """

    kind: ZoneKind
    form: Literal["area", "line", "border"]
    points: list[Coordinates]
    reach_mm: int


class PanelOutline(BaseModel):
    """A panel's outline, counter-clockwise and not closed, its zones, and the area within."""

    ring: list[Coordinates]
    zones: list[OutlineZone]
    area_mm2: float


class BodyOutlines(BaseModel):
    """The outlines of a body's panels for a vehicle of this size; `generic`: of no maker."""

    body: str
    length_mm: int
    width_mm: int
    height_mm: int
    generic: Literal[True]
    panels: dict[str, PanelOutline]


EXAMPLE: dict[str, Any] = {
    "body": "sedan",
    "length_mm": 4700,
    "width_mm": 1820,
    "height_mm": 1450,
    "generic": True,
    "panels": {
        "hood": {
            "ring": [[30, 0], [1460, 0], [1490, 1100], [0, 1100]],
            "zones": [
                {
                    "kind": "braced",
                    "form": "area",
                    "points": [[700, 200], [790, 200], [790, 900], [700, 900]],
                    "reach_mm": 0,
                },
                {
                    "kind": "body-line",
                    "form": "line",
                    "points": [[330, 60], [290, 1080]],
                    "reach_mm": 3,
                },
                {"kind": "edge", "form": "border", "points": [], "reach_mm": 25},
            ],
            "area_mm2": 1606000.0,
        }
    },
}
"""The shape of an answer, cut down to one panel of few points."""


@router.get(
    "/{body}",
    summary="Outlines of a body's panels",
    response_class=JSONResponse,
    response_model=BodyOutlines,
    responses={
        200: {
            "description": "Every panel of the body, and the size that it was drawn for.",
            "content": {"application/json": {"example": EXAMPLE}},
        },
        **problem_responses(404, 422),
    },
)
def show_outlines(
    body: Annotated[str, Path(json_schema_extra={"enum": list(BODIES)})],
    query: Annotated[OutlineQuery, Query()],
) -> JSONResponse:
    """The generic outlines and zones of a body's panels, scaled to the vehicle's overall size.

    They are drawn from plain proportions and follow no maker's drawing.
    """
    if body not in PANELS_OF_BODY:
        expected = f"one of {', '.join(BODIES)}"
        raise Refusal(
            "no-such-body",
            f"There is no body {shown(body)}.",
            [at("path", ("body",), shown(body), expected)],
        )
    return JSONResponse(body_outlines(body, query), headers={"Cache-Control": CACHE_CONTROL})


def body_outlines(body: str, query: OutlineQuery) -> dict[str, Any]:
    """The answer for a body that is known."""
    typical = TYPICAL_SIZE[body]
    size = {
        name: typical_mm if (given := getattr(query, name)) is None else given
        for name, typical_mm in typical._asdict().items()
    }
    drawn = [outline(body, panel, **size) for panel in PANELS if panel in PANELS_OF_BODY[body]]
    return {
        "body": body,
        **size,
        "generic": True,
        "panels": {each.panel: _as_json(each) for each in drawn},
    }


def _as_json(drawn: Outline) -> dict[str, Any]:
    return {
        "ring": drawn.ring,
        "zones": [zone._asdict() for zone in drawn.zones],
        # Twice the area of whole coordinates is whole, so the double is exact.
        "area_mm2": float(area_mm2(drawn.ring)),
    }
