"""The vehicle identification number: 49 CFR 565.15, ISO 3779."""

from __future__ import annotations

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
