"""Panels, the bodies that have them, and what panels are called.

A panel has one identifier everywhere (files, code, API); what it is called in print
is a label table. Left and right are as seen from the driver's seat looking forward.
`PANELS` is also the order in which a sheet lists them: horizontals, front to back,
openings, narrow pieces.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal, get_args

Panel = Literal[
    "hood", "roof", "decklid", "liftgate", "tailgate", "fender-l", "fender-r",
    "door-fl", "door-fr", "door-rl", "door-rr", "quarter-l", "quarter-r", "rail-l", "rail-r",
    "bedside-l", "bedside-r", "cab-corner-l", "cab-corner-r",
]  # fmt: skip
Body = Literal["sedan", "coupe", "hatch", "wagon", "suv", "pickup", "van", "convertible"]
Labels = Literal["us", "uk"]
ZoneKind = Literal["braced", "glue-only", "edge", "body-line"]
"""What a part of a panel says of the dents in it."""

Equipment = Literal["sunroof", "roof-rack", "roof-antenna"]
"""What only some vehicles of a body have, and what has to come off if it is there."""

PANELS: tuple[str, ...] = get_args(Panel)
BODIES: tuple[str, ...] = get_args(Body)

_FRONT = {"hood", "fender-l", "fender-r", "door-fl", "door-fr"}
_REAR_DOORS = {"door-rl", "door-rr"}
_QUARTERS = {"quarter-l", "quarter-r"}
_ROOF = {"roof", "rail-l", "rail-r"}
_LIFTGATE_BODY = _FRONT | _REAR_DOORS | _QUARTERS | _ROOF | {"liftgate"}

PANELS_OF_BODY: dict[str, frozenset[str]] = {
    "sedan": frozenset(_FRONT | _REAR_DOORS | _QUARTERS | _ROOF | {"decklid"}),
    "coupe": frozenset(_FRONT | _QUARTERS | _ROOF | {"decklid"}),
    "hatch": frozenset(_LIFTGATE_BODY),
    "wagon": frozenset(_LIFTGATE_BODY),
    "suv": frozenset(_LIFTGATE_BODY),
    "van": frozenset(_LIFTGATE_BODY),
    "pickup": frozenset(
        _FRONT | _REAR_DOORS | _ROOF
        | {"tailgate", "bedside-l", "bedside-r", "cab-corner-l", "cab-corner-r"}
    ),
    "convertible": frozenset(_FRONT | _QUARTERS | {"decklid"}),
}  # fmt: skip
"""Outer panels of each body style (common practice, no source)."""

_PANELS_OF_PART: dict[str, tuple[str, ...]] = {
    "front": ("hood", "fender-l", "fender-r"),
    "left side": ("door-fl", "door-rl"),
    "right side": ("door-fr", "door-rr"),
    "rear": (
        "decklid", "liftgate", "tailgate", "quarter-l", "quarter-r",
        "bedside-l", "bedside-r", "cab-corner-l", "cab-corner-r",
    ),
    "roof": ("roof", "rail-l", "rail-r"),
}  # fmt: skip
PARTS: tuple[str, ...] = tuple(_PANELS_OF_PART)
"""Parts of a vehicle at which one stands and works."""
PART_OF_PANEL: dict[str, str] = {
    panel: part for part, panels in _PANELS_OF_PART.items() for panel in panels
}

_US_LABELS = {
    "hood": "Hood", "roof": "Roof", "decklid": "Decklid", "liftgate": "Liftgate",
    "tailgate": "Tailgate", "fender-l": "Left fender", "fender-r": "Right fender",
    "door-fl": "Left front door", "door-fr": "Right front door",
    "door-rl": "Left rear door", "door-rr": "Right rear door",
    "quarter-l": "Left quarter panel", "quarter-r": "Right quarter panel",
    "rail-l": "Left roof rail", "rail-r": "Right roof rail",
    "bedside-l": "Left bedside", "bedside-r": "Right bedside",
    "cab-corner-l": "Left cab corner", "cab-corner-r": "Right cab corner",
}  # fmt: skip
_UK_LABELS = _US_LABELS | {
    "hood": "Bonnet", "decklid": "Boot lid", "liftgate": "Tailgate",
    "tailgate": "Drop-down tailgate",
    "fender-l": "Left front wing", "fender-r": "Right front wing",
    "quarter-l": "Left rear wing", "quarter-r": "Right rear wing",
    "bedside-l": "Left load-bed side", "bedside-r": "Right load-bed side",
}  # fmt: skip
PANEL_LABELS: dict[str, dict[str, str]] = {"us": _US_LABELS, "uk": _UK_LABELS}
"""What panels are called in print, by label table."""


def with_label(text: str, labels: Mapping[str, str]) -> str:
    """A remark that begins with a panel's identifier, with what the panel is called instead."""
    panel, colon, rest = text.partition(": ")
    return f"{labels[panel]}{colon}{rest}" if panel in labels else text
