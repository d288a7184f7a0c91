"""The application: routes, guards and error handlers put together.

Claims are kept in a store, and every route but those that name nobody asks for a token. Prices and
plans can also be had without keeping anything.
"""

from __future__ import annotations

from typing import Any

from fastapi import FastAPI
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException

from api.guards import BodyLimit, HeadLimit, HostGuard, SecureHeaders
from api.logs import RequestLog
from api.problems import (
    Refusal,
    on_crash,
    on_http_error,
    on_parameter_error,
    on_refusal,
    on_store_fault,
)
from api.responses import PROBLEM
from api.routes import (
    answers,
    claims,
    docs,
    links,
    matrices,
    outlines,
    pages,
    photographs,
    plan,
    price,
    revisions,
    schemas,
    service,
    storms,
    whoami,
)
from api.routing import with_headers
from api.state import Setup, set_up
from api.store.faults import StoreFault
from api.worked import with_worked_examples
from hailcalc import __version__
from hailcalc.schemas import file_definitions

_DESCRIPTION = """
Price a hail-damaged vehicle under the shop's difficulty matrix, and keep its claim: a draft is
issued as a frozen revision, the adjuster answers it line by line, a supplement is the next
revision, both sides agree. Prices and plans can be had without keeping anything. Money is decimal
strings, sizes are millimetres, dates ISO 8601.

Show a token as `Authorization: Bearer …`. On a bad connection: send an `Idempotency-Key` with
every POST and repeat it until there is an answer; send the claim's `ETag` as `If-Match` with
every change. Every error is a problem document (RFC 9457) that lists each mistake with its place.

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
            with_headers(document)
            with_worked_examples(document)
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


def create_app(setup: Setup) -> FastAPI:
    """The API over a store and a folder of matrices."""
    app = Api(
        title="hailcalc",
        version=__version__,
        description=_DESCRIPTION,
        docs_url=None,
        redoc_url=None,
        redirect_slashes=False,
    )
    set_up(app, setup)
    # The last one added is the first that a request meets.
    app.add_middleware(BodyLimit)
    app.add_middleware(HeadLimit)
    app.add_middleware(HostGuard, hosts=setup.hosts)
    app.add_middleware(SecureHeaders)
    app.add_middleware(RequestLog)
    app.add_exception_handler(Refusal, on_refusal)
    app.add_exception_handler(StoreFault, on_store_fault)
    app.add_exception_handler(RequestValidationError, on_parameter_error)
    app.add_exception_handler(HTTPException, on_http_error)
    app.add_exception_handler(Exception, on_crash)
    for module in (
        claims, revisions, answers, links, photographs,
        price, plan, matrices, outlines, storms, schemas, service, whoami, docs, pages,
    ):  # fmt: skip
        app.include_router(module.router)
    docs.serve_assets(app)
    return app
