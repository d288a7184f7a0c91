"""How routes stand in the OpenAPI document: their answers, bodies and headers, with examples."""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel
from starlette.responses import Response

from api.responses import problem_responses
from hailcalc.schemas import portable

JSON = "application/json"

_KEY_PARAMETER = {
    "name": "Idempotency-Key",
    "in": "header",
    "required": False,
    "description": "The same key and request get the same answer again, for seven days.",
    "schema": {"type": "string", "pattern": "^[!-~]{1,255}$"},
    "example": "5b0d9c1e-3f5e-4a57-9a55-2f2b8f3f6c11",
}
_MATCH_PARAMETER = {
    "name": "If-Match",
    "in": "header",
    "required": True,
    "description": "The claim's ETag that the change was made against.",
    "schema": {"type": "string"},
    "example": '"3"',
}


def body_of(
    schema: type[BaseModel] | dict[str, Any], example: Any, description: str = ""
) -> dict[str, Any]:
    """A JSON body of this schema."""
    shape = schema if isinstance(schema, dict) else inline_schema(schema)
    content = {JSON: {"schema": shape, "example": example}}
    return {"description": description, "required": True, "content": content}


def inline_schema(model: type[BaseModel]) -> dict[str, Any]:
    """A model's schema as one piece."""
    schema = portable(model.model_json_schema())
    definitions = schema.pop("$defs", {})

    def resolved(value: Any) -> Any:
        if isinstance(value, dict):
            if "$ref" in value:
                return resolved(definitions[value["$ref"].rpartition("/")[2]])
            return {key: resolved(inner) for key, inner in value.items()}
        return [resolved(inner) for inner in value] if isinstance(value, list) else value

    found: dict[str, Any] = resolved(schema)
    return found


def with_headers(document: dict[str, Any]) -> None:
    """Tell of Idempotency-Key at everything that writes, and of If-Match where it is needed."""
    for operations in document["paths"].values():
        for method, operation in operations.items():
            parameters = operation.setdefault("parameters", [])
            for parameter in parameters:
                parameter["schema"] = portable(parameter["schema"])
            if method == "post" or (method == "put" and "428" in operation["responses"]):
                parameters.append(_KEY_PARAMETER)
            if "428" in operation["responses"]:
                parameters.append(_MATCH_PARAMETER)


def described(
    model: type[BaseModel],
    example: Any,
    *errors: int,
    status: int = 200,
    body: dict[str, Any] | None = None,
    more: dict[str, Any] | None = None,
) -> dict[str, Any]:
    """Arguments of a router's decorator for a route that answers with a JSON view.

    428 among its errors says that it needs If-Match.
    """
    content: dict[str, Any] = {JSON: {"example": example}} | (more or {})
    extra: dict[str, Any] = {}
    if body is not None:
        extra["requestBody"] = body
    return {
        "response_class": Response,
        "status_code": status,
        "response_model": model,
        "responses": {
            status: {"description": (model.__doc__ or "").split("\n")[0], "content": content},
            **problem_responses(*errors),
        },
        "openapi_extra": extra,
    }
