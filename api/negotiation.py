"""Which form of an answer the Accept header asks for (RFC 9110, section 12.5.1).

Media ranges with their quality; for each offer the most specific range counts. The offer
with the highest quality is taken, then the one named more specifically, then the first.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

_RANGE = re.compile(r"\s*([!#$%&'*+.^_`|~\w-]+)/([!#$%&'*+.^_`|~\w-]+)\s*", re.ASCII)
_QUALITY = re.compile(r"\s*[qQ]=(0(?:\.[0-9]{0,3})?|1(?:\.0{0,3})?)\s*")


def preferred(accept: str | None, offers: Sequence[str]) -> str | None:
    """The offer that an Accept header prefers; None if it allows none, the first without it."""
    if accept is None or not accept.strip():
        return offers[0]
    ranges = [found for part in accept.split(",") if (found := _range(part)) is not None]
    ranked = [(*_rank(offer, ranges), -position) for position, offer in enumerate(offers)]
    quality, _, position = max(ranked)
    return offers[-position] if quality > 0 else None


def _range(part: str) -> tuple[str, str, float] | None:
    """Type, subtype and quality of one element; None if it is malformed or says more."""
    head, *parameters = part.split(";")
    match = _RANGE.fullmatch(head)
    if match is None:
        return None
    quality = 1.0
    for parameter in parameters:
        if (found := _QUALITY.fullmatch(parameter)) is not None:
            quality = float(found[1])
        elif parameter.strip().lower() != "charset=utf-8":
            return None
    return match[1].lower(), match[2].lower(), quality


def _rank(offer: str, ranges: Sequence[tuple[str, str, float]]) -> tuple[float, int]:
    """Quality of an offer and how specifically it is named (2 fully, 1 by type, 0 not)."""
    own = tuple(offer.split("/"))
    best: tuple[int, float] = (-1, 0.0)
    for kind, subtype, quality in ranges:
        if (kind, subtype) == own:
            specific = 2
        elif kind == own[0] and subtype == "*":
            specific = 1
        elif (kind, subtype) == ("*", "*"):
            specific = 0
        else:
            continue
        best = max(best, (specific, quality))
    return best[1], best[0]
