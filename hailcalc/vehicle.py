"""Vehicles: panels, the bodies that have them, what panels are called, and the VIN.

A panel has one identifier everywhere (files, code, API); what it is called in print
is a label table. Left and right are as seen from the driver's seat looking forward.
`PANELS` is also the order in which a sheet lists them: horizontals, front to back,
openings, narrow pieces.
"""

from __future__ import annotations

from typing import Literal, get_args

Panel = Literal[
    "hood", "roof", "decklid", "liftgate", "tailgate", "fender-l", "fender-r",
    "door-fl", "door-fr", "door-rl", "door-rr", "quarter-l", "quarter-r", "rail-l", "rail-r",
    "bedside-l", "bedside-r", "cab-corner-l", "cab-corner-r",
]  # fmt: skip
Body = Literal["sedan", "coupe", "hatch", "wagon", "suv", "pickup", "van", "convertible"]
Labels = Literal["us", "uk"]

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

_NORTH_AMERICA = frozenset("12345")
"""First characters of identification numbers assigned in North America (ISO 3780 regions)."""


def vin_findings(vin: str) -> tuple[str | None, str | None]:
    """Check a vehicle identification number: (error, warning), each None if there is none.

    49 CFR 565.15 / ISO 3779: 17 characters, never I, O or Q; the ninth is a check digit.
    Where North America assigned the number a wrong check digit is an error; elsewhere the
    digit is optional and a wrong one is only a warning.
    """
    # A small package that knows the rule and the assigned codes; slow to import, so only here.
    from vininfo import Vin
    from vininfo.exceptions import ValidationError

    if vin != vin.strip().upper():
        return "17 capital letters and digits without blanks", None
    try:
        number = Vin(vin)
    except ValidationError:
        return "17 capital letters and digits, never I, O or Q (49 CFR 565.15)", None
    if number.verify_checksum(check_year=False):
        return None, None
    if vin[0] in _NORTH_AMERICA:
        return "a number whose ninth character is its check digit (49 CFR 565.15)", None
    return None, (
        f"VIN {vin}: the ninth character is not the check digit of 49 CFR 565.15; "
        "outside North America that is allowed, so compare the number with the vehicle"
    )
