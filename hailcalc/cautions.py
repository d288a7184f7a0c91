"""Cautions that print where the work can hurt somebody.

A removal operation names a caution by its key. Every text defers to the vehicle
maker's procedure; none replaces it. The hazards are common practice, no source.
"""

from __future__ import annotations

CAUTIONS: dict[str, str] = {
    "airbag": (
        "Airbags: linings and pillar trims can hide curtain airbags. Disconnect and wait as the "
        "vehicle maker's procedure says before working near them; never strike or heat near one."
    ),
    "high-voltage": (
        "High voltage: orange cables and their covers are for licensed people only. Isolate and "
        "check for absence of voltage by the vehicle maker's procedure first."
    ),
    "glass": (
        "Glass: wear eye and hand protection; removal and bonding follow the vehicle maker's "
        "procedure, including the time before the vehicle may be driven."
    ),
    "fuel": (
        "Fuel: no heat, flame or spark near filler, lines and tank; follow the vehicle maker's "
        "procedure."
    ),
    "heat": (
        "Heat: hot glue, lamps and heated panels burn skin and can harm paint and wiring; keep "
        "within the vehicle and paint makers' limits."
    ),
    "solvent": (
        "Solvents: ventilate, wear gloves and eye protection, keep from sparks, and follow the "
        "product's safety data sheet."
    ),
    "lifting": (
        "Lifting: heavy or wide parts need two people or a hoist rated for them, as the vehicle "
        "maker's procedure says."
    ),
}
"""Text of each caution by the key that a matrix file uses."""

ALWAYS = (
    "Wear eye protection when pushing or pulling; lamps, glue guns and heated panels burn.",
    "The vehicle maker's procedures come first, above all for airbags, high voltage, glass and "
    "bonded parts; local law and licensed practice come before this sheet.",
)
"""Cautions on every sheet."""

NATURE = (
    "This sheet is an estimate under the difficulty matrix named on it. It is not an offer and not "
    "a decision on coverage."
)
"""What a sheet is and is not; printed on every one."""
