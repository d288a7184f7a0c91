"""How problem documents stand in the OpenAPI document."""

from __future__ import annotations

from http import HTTPStatus
from typing import Any

from api.problems import KINDS, MEDIA_TYPE

PROBLEM: dict[str, Any] = {
    "type": "object",
    "description": "A problem document (RFC 9457).",
    "properties": {
        "type": {
            "type": "string",
            "format": "uri-reference",
            "description": "What sort of problem; the reference answers with an explanation.",
        },
        "title": {"type": "string"},
        "status": {"type": "integer"},
        "detail": {"type": "string"},
        "instance": {"type": "string", "format": "uri-reference"},
        "errors": {
            "type": "array",
            "items": {
                "type": "object",
                "properties": {
                    "in": {
                        "enum": [
                            "body",
                            "draft",
                            "query",
                            "path",
                            "header",
                            "matrix",
                            "storm",
                        ]
                    },
                    "pointer": {
                        "type": "string",
                        "format": "json-pointer",
                        "description": "Where in it (RFC 6901); empty means the whole.",
                    },
                    "found": {"type": "string"},
                    "expected": {"type": "string"},
                    "file": {
                        "type": "string",
                        "description": "A matrix file, a storm, or a file of one.",
                    },
                },
                "required": ["in", "pointer", "found", "expected"],
                "additionalProperties": False,
            },
        },
    },
    "required": ["type", "title", "status", "detail", "instance", "errors"],
    "additionalProperties": False,
}
"""The schema of every error."""


def problem_responses(*statuses: int) -> dict[int | str, dict[str, Any]]:
    """The error answers of a route, for its documentation."""
    return {
        status: {
            "description": _description(status),
            "content": {MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}},
        }
        for status in statuses
    }


def _description(status: int) -> str:
    titles = [kind.title for kind in KINDS.values() if kind.status == status]
    return ", or: ".join(titles) if titles else HTTPStatus(status).phrase
