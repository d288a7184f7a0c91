"""The application: routes, guards and error handlers put together.

Stateless in this version: a claim comes in, its sheet goes out, nothing is kept. There are no
accounts yet, so it is for the machine that it runs on, and the guards see to that.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from fastapi import FastAPI
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException

from api.guards import BodyLimit, HostGuard, SecureHeaders
from api.problems import (
    Refusal,
    on_crash,
    on_http_error,
    on_parameter_error,
    on_refusal,
)
from api.responses import PROBLEM
from api.routes import docs, matrices, outlines, pages, plan, price, schemas, service
from api.state import set_folder
from hailcalc import __version__, files
from hailcalc.schemas import file_definitions

_DESCRIPTION = """
Price a hail-damaged vehicle under the shop's difficulty matrix: post a claim file, get the
claim sheet as JSON or PDF, or the plan of how its panels are reached and the job card. Money is
decimal strings, sizes are millimetres, dates ISO 8601.
Every error is a problem document (RFC 9457) that lists each mistake with its place.

A sheet is an estimate under the named matrix, not an offer and not a decision on coverage.
"""


class Api(FastAPI):
    """FastAPI whose OpenAPI document has the schemas of the files and of problem documents."""

    def openapi(self) -> dict[str, Any]:
        """The OpenAPI document; made once."""
        if self.openapi_schema is None:
            document = super().openapi()
            components = document.setdefault("components", {}).setdefault("schemas", {})
            components |= file_definitions("#/components/schemas/") | {"Problem": PROBLEM}
            _without_default_errors(document)
        return super().openapi()


def _without_default_errors(document: dict[str, Any]) -> None:
    """Take out the 422 that is added to every operation with parameters, in another shape."""
    components = document["components"]["schemas"]
    for name in ("HTTPValidationError", "ValidationError"):
        components.pop(name, None)
    for operations in document["paths"].values():
        for operation in operations.values():
            answer = operation["responses"].get("422", {}).get("content", {})
            if "application/json" in answer:
                del operation["responses"]["422"]


def create_app(matrices_folder: Path | None = None) -> FastAPI:
    """The API over a folder of matrices; None: the one that the command line uses."""
    app = Api(
        title="hailcalc",
        version=__version__,
        description=_DESCRIPTION,
        docs_url=None,
        redoc_url=None,
        redirect_slashes=False,
    )
    set_folder(app, matrices_folder or files.matrices_folder())
    # The last one added is the first that a request meets.
    app.add_middleware(BodyLimit)
    app.add_middleware(HostGuard)
    app.add_middleware(SecureHeaders)
    app.add_exception_handler(Refusal, on_refusal)
    app.add_exception_handler(RequestValidationError, on_parameter_error)
    app.add_exception_handler(HTTPException, on_http_error)
    app.add_exception_handler(Exception, on_crash)
    for module in (price, plan, matrices, outlines, schemas, service, docs, pages):
        app.include_router(module.router)
    docs.serve_assets(app)
    return app
