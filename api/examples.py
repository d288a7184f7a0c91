"""Answers as the documentation shows them: one invented claim, from its draft to an agreement."""

from __future__ import annotations

from typing import Any

from api.routes.price import EXAMPLE as CLAIM_FILE

_DIGEST = "9f6c1d2e" * 8
_SETTLEMENT = "41b7e0aa" * 8
_PHOTOGRAPH = "c0ffee42" * 8
_ENTRY = "7d3a905f" * 8

SUMS: dict[str, Any] = {
    "currency": "USD",
    "total": "412.60",
    "net": "162.60",
    "agreed": "380.00",
    "open": "0.00",
    "disputed": "32.60",
}

_ITEM: dict[str, Any] = {
    "id": "c7k2m9pq4xya",
    "number": "A-1041",
    "state": "answered",
    "storm": "alderbeck-2026-05",
    "insurer": None,
    "date_of_loss": "2026-05-19",
    "created": "2026-05-21T14:03:05.120000Z",
    "changed": "2026-05-27T08:40:11.004000Z",
    "version": 5,
    "revision": 1,
    "draft": None,
    "forgotten": None,
    "sums": SUMS,
}

REVISION: dict[str, Any] = {
    "number": 1,
    "issued": "2026-05-21T14:10:44.310000Z",
    "reason": "",
    "digest": _DIGEST,
    "signed_by": None,
    "paper": "letter",
    "labels": "us",
    "currency": "USD",
    "total": "412.60",
    "net": "162.60",
    "complete": True,
    "dents": 20,
}

CLAIM: dict[str, Any] = _ITEM | {
    "revisions": [REVISION],
    "settlement": {
        "digest": _SETTLEMENT,
        "agreed": "380.00",
        "disputed": "32.60",
        "net": "130.00",
        "shop": None,
        "adjuster": {"at": "2026-05-27T08:41:00.000000Z", "by": "R. Tallow"},
    },
    "withdrawn": None,
}

CLAIM_PAGE: dict[str, Any] = {"claims": [_ITEM], "next": "AAAAAAAAABE"}

DRAFT: dict[str, Any] = {
    "number": 2,
    "saved": "2026-06-02T09:15:00.000000Z",
    "storm": "alderbeck-2026-05",
    "claim_file": CLAIM_FILE,
    "currency": "USD",
    "totals": {
        "subtotal": "412.60",
        "tax": "0.00",
        "total": "412.60",
        "deductible": "250.00",
        "net": "162.60",
        "complete": True,
    },
    "problems": [],
}

HISTORY: dict[str, Any] = {
    "events": [
        {
            "seq": 17,
            "at": "2026-05-21T14:03:05.120000Z",
            "who": "vkjhwcwjzs2h",
            "act": "claim opened",
            "details": {"draft": 1, "claim_file": _DIGEST},
            "hash": _ENTRY,
        }
    ]
}

REVISIONS: dict[str, Any] = {"revisions": [REVISION]}

LINK: dict[str, Any] = {
    "id": "m4q8v2n7c3hd",
    "name": "R. Tallow",
    "created": "2026-05-21T14:12:00.000000Z",
    "until": "2026-06-20T14:12:00.000000Z",
    "revoked": None,
}

LINKS: dict[str, Any] = {"links": [LINK]}

NEW_LINK: dict[str, Any] = LINK | {
    "token": "hc_shown-once",
    "address": "http://127.0.0.1:8423/answer#hc_shown-once",
}

LINE: dict[str, Any] = {
    "kind": "extra",
    "panel": "hood",
    "label": "Aluminium panel",
    "amount": "56.59",
    "because": {"words": "27 % of the base", "formula": "209.60 * 27 / 100"},
}

ANSWER_FILE: dict[str, Any] = {
    "revision": 1,
    "answers": [
        {"line": 1, "answer": "accept"},
        {"line": 2, "answer": "amount", "amount": "40.00", "reason": "The agreed 19 % apply."},
        {"line": 3, "answer": "decline", "reason": "Not caused by this storm."},
    ],
}

ANSWERS: dict[str, Any] = {
    "revision": 1,
    "digest": _DIGEST,
    "state": "issued",
    "currency": "USD",
    "agreed": "40.00",
    "open": "0.00",
    "disputed": "16.59",
    "total": "56.59",
    "deductible": "250.00",
    "net_agreed": "0.00",
    "complete": True,
    "lines_answered": 1,
    "lines_open": 0,
    "lines": [
        {
            "number": 1,
            "line": LINE,
            "agreed": "40.00",
            "open": "0.00",
            "disputed": "16.59",
            "answer": {
                "answer": "amount",
                "amount": "40.00",
                "reason": "The agreed 19 % apply.",
                "part": 1,
                "at": "2026-05-27T08:40:11.004000Z",
                "by": "R. Tallow",
                "carried_from": None,
            },
            "follows": False,
        }
    ],
    "parts": [
        {"part": 1, "at": "2026-05-27T08:40:11.004000Z", "by": "R. Tallow", "carried_from": None,
         "lines": [{"line": 1, "answer": "amount", "amount": "40.00",
                    "reason": "The agreed 19 % apply."}]},
    ],
    "settlement": CLAIM["settlement"],
}  # fmt: skip

SCHEMA: dict[str, Any] = {
    "$schema": "https://json-schema.org/draft/2020-12/schema",
    "$id": "https://hailcalc.example/schemas/claim",
    "title": "hailcalc claim file",
    "description": "A claim file as it stands on disk.",
    "type": "object",
    "required": ["claim", "vehicle"],
    "additionalProperties": False,
}
"""How the schema of a claim file begins; its properties are left out."""

AGREEMENT: dict[str, Any] = {"settlement": _SETTLEMENT}

PHOTOGRAPH: dict[str, Any] = {
    "number": 1,
    "panel": "hood",
    "media_type": "image/jpeg",
    "width": 4032,
    "height": 3024,
    "size": 2311842,
    "sha256": _PHOTOGRAPH,
    "taken": "2026-05-21T13:58:40",
    "place_kept": False,
    "note": "Under the light board",
    "added": "2026-05-21T14:05:00.000000Z",
    "left_out": None,
}

PHOTOGRAPHS: dict[str, Any] = {"photographs": [PHOTOGRAPH]}

STORMS: dict[str, Any] = {
    "storms": [
        {
            "name": "alderbeck-may",
            "title": "Alderbeck, 19 May 2026",
            "place": "Alderbeck",
            "hail": "2026-05-19",
            "first_day": "2026-05-22",
            "last_day": "2026-06-13",
            "currency": "USD",
            "vehicles": 214,
            "revenue": "118240.55",
            "cost": "80912.10",
            "margin": "37328.45",
            "problems": [],
        },
        {
            "name": "thornmere-june",
            "title": None,
            "place": None,
            "hail": None,
            "first_day": None,
            "last_day": None,
            "currency": None,
            "vehicles": None,
            "revenue": None,
            "cost": None,
            "margin": None,
            "problems": [
                {
                    "file": "storm.toml",
                    "pointer": "/pay/share",
                    "found": '"half"',
                    "expected": 'a decimal number, as text, such as "12.50"',
                }
            ],
        },
    ]
}


def _limits(value: str, low: str, high: str) -> dict[str, str]:
    return {"value": value, "low": low, "high": high}


COMPARISON: dict[str, Any] = {
    "by": "margin",
    "currency": "USD",
    "rates": {},
    "level": 90,
    "resamples": 4000,
    "answer": "Alderbeck, 19 May 2026 comes first by margin: USD 37,328.45 (90 in 100: USD "
    "33,910.20 to USD 40,871.66).",
    "notes": [
        "Alderbeck, 19 May 2026: 4 of 218 vehicles could not be priced and are in no figure, while "
        "the fixed costs are whole."
    ],
    "ranking": [
        {
            "rank": 1,
            "storm": "alderbeck-may",
            "vehicles": 218,
            "priced": 214,
            "aside": 4,
            "measures": {
                "margin": _limits("37328.45", "33910.20", "40871.66"),
                "per-vehicle": _limits("174.43", "158.46", "190.99"),
                "per-technician-day": _limits("373.28", "339.10", "408.72"),
                "per-repair-hour": _limits("41.20", "39.05", "43.31"),
                "share": _limits("31.57", "30.12", "32.90"),
                "revenue": _limits("118240.55", "110387.40", "126204.13"),
            },
            "break_even": {"vehicles": 58, "low": 54, "high": 63},
        }
    ],
    "chances": {"alderbeck-may": {}},
    "storms": [{"storm": "alderbeck-may", "title": "Alderbeck, 19 May 2026", "currency": "USD"}],
}
"""`storms` holds many more figures of each."""
