"""Headers that every answer carries, and what pages may load.

The server answers programs and pages of its own. So nothing may be framed, guessed as another
type or read from another origin, nor kept by a cache unless a route says otherwise (outlines
do: they name nobody); and pages load scripts and styles from this server alone.
"""

from __future__ import annotations

SECURITY_HEADERS: dict[str, str] = {
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Content-Security-Policy": "default-src 'none'; frame-ancestors 'none'; base-uri 'none'",
    "Cache-Control": "no-store",
}
"""On every answer that does not say otherwise; sheets name people, so no cache keeps them."""

DOCS_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self' 'unsafe-inline'; "
    "img-src 'self' data: blob:; font-src 'self' data:; connect-src 'self'; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
"""The documentation page: its style sheets set inline styles, its icons are data URIs."""
