"""The interactive documentation, which works without internet.

The page and its script are ours; the program behind them comes from the package
fastapi-offline, which carries it. Nothing is loaded from another host, and the page's
content security policy says so to the browser.
"""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

from fastapi import APIRouter, FastAPI
from starlette.responses import HTMLResponse, Response
from starlette.staticfiles import StaticFiles

from api.headers import DOCS_POLICY

router = APIRouter(include_in_schema=False)

_PAGE = """<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>hailcalc API</title>
<link rel="stylesheet" href="/docs/assets/swagger-ui.css">
<link rel="icon" href="/docs/assets/favicon.png">
</head>
<body>
<div id="docs"><noscript>The description of this API is at /openapi.json.</noscript></div>
<script src="/docs/assets/swagger-ui-bundle.js"></script>
<script src="/docs/start.js"></script>
</body>
</html>
"""

_START = """"use strict";
SwaggerUIBundle({
  url: "/openapi.json",
  dom_id: "#docs",
  deepLinking: true,
  defaultModelsExpandDepth: 0,
  validatorUrl: null,
});
"""


@router.get("/docs")
async def page() -> HTMLResponse:
    """The page."""
    return HTMLResponse(_PAGE, headers={"Content-Security-Policy": DOCS_POLICY})


@router.get("/docs/start.js")
async def start() -> Response:
    """The script that starts it; a file of its own, so that the policy need not allow inline."""
    return Response(_START, media_type="text/javascript")


def serve_assets(app: FastAPI) -> None:
    """Serve what the page loads."""
    folder = Path(str(files("fastapi_offline") / "static"))
    app.mount("/docs/assets", StaticFiles(directory=folder), name="docs-assets")
