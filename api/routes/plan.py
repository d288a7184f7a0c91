"""Planning how panels are reached: the claim file in, plan and order of removal out.

As JSON, or as the job card for the technician in PDF. Minutes are decimal strings.
"""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query, Request
from starlette.responses import Response

from api.auth import ShopReader
from api.claims import ClaimQuery, Forms, answer, component, documented
from api.intake import json_body
from hailcalc.cautions import CAUTIONS
from hailcalc.estimate import Estimate
from hailcalc.vehicle import PARTS

router = APIRouter(prefix="/v1", tags=["plan"])

EXAMPLE: dict[str, Any] = {
    "claim": {"number": "A-1042", "date_of_loss": "2026-05-19"},
    "vehicle": {"body": "sedan", "equipment": ["sunroof"]},
    "aim": "cost",
    "conditions": {"panel_temperature_c": 24},
    "panels": [
        {"panel": "roof", "access": "plan", "tally": {"dime": 9}},
        {
            "panel": "hood",
            "access": "plan",
            "tally": {"dime": 12, "nickel": 3},
            "marked": {"sharp": {"dime": 1}},
            "replace_cost": "640.00",
            "replace_minutes": "90",
        },
    ],
}
"""A small claim whose panels are all to be planned; the shop's own matrix is taken."""

OPERATION: dict[str, Any] = {
    "type": "object",
    "description": "One thing that comes off. Minutes are those of removal and refit together.",
    "properties": {
        "id": {"type": "string"},
        "label": {"type": "string"},
        "part": {"enum": list(PARTS), "description": "Where one stands at the vehicle for it."},
        "minutes": {"type": "string"},
        "fasteners": {
            "type": "integer",
            "minimum": 0,
            "description": "Single-use fasteners, new on refit.",
        },
        "cautions": {"type": "array", "items": {"enum": list(CAUTIONS)}},
    },
    "required": ["id", "label", "part", "minutes", "fasteners", "cautions"],
    "additionalProperties": False,
}

ANSWER: dict[str, Any] = {
    "type": "object",
    "description": "How panels are reached, and what comes off for it in which order.",
    "properties": {
        "claim": {"type": "string", "description": "The claim's number."},
        "matrix": {"type": "string", "description": "The matrix that it was planned under."},
        "plan": {
            "description": "As in the evidence of a sheet; null where no panel is to be planned.",
            "anyOf": [component("Evidence/properties/plan"), {"type": "null"}],
        },
        "removal": {
            "type": "array",
            "items": OPERATION,
            "description": "In the order of removal.",
        },
        "refit": {
            "type": "array",
            "items": {"type": "string"},
            "description": "The same by id in the order of refit.",
        },
        "removal_minutes": {"type": "string", "description": "Removal and refit in all."},
        "warnings": {"type": "array", "items": {"type": "string"}},
    },
    "required": [
        "claim",
        "matrix",
        "plan",
        "removal",
        "refit",
        "removal_minutes",
        "warnings",
    ],
    "additionalProperties": False,
}


@router.post(
    "/plan",
    summary="Plan access and removal",
    **documented(EXAMPLE, "The plan as JSON, or the job card as PDF.", ANSWER),
)
def plan_claim(
    request: Request,
    caller: ShopReader,
    query: Annotated[ClaimQuery, Query()],
    body: Annotated[bytes, Depends(json_body)],
) -> Response:
    """Plan how a vehicle's panels are reached, and what comes off; nothing is stored.

    Panels whose access is `plan` are pushed, glue pulled or replaced, whatever is best for the
    whole vehicle under the matrix; the others stay as the claim says. The matrix is found as for
    a price. The job card comes where the Accept header prefers `application/pdf`.
    """
    return answer(request, caller, body, query, Forms(_as_json, _as_pdf, "job-card"))


def _as_json(estimate: Estimate) -> str:
    from hailcalc.planreport import plan_report
    from hailcalc.sheet.document import sheet_text

    return sheet_text(plan_report(estimate))


def _as_pdf(estimate: Estimate, query: ClaimQuery) -> bytes:
    from hailcalc.jobcard.pdf import job_card_pdf  # slow to import, as for the sheet

    return job_card_pdf(estimate, paper=query.paper, labels=query.labels)
