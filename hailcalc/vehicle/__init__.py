"""Vehicles: panels and bodies, labels, the VIN, and the panels' outlines in millimetres.

`panels` has the identifiers, `vin` the check of a number, `outlines` a generic outline of
every panel with its zones, `shapes` outlines of the shop's own and what can be wrong with
them. Only `shapes` needs shapely, so it is imported where a panel is counted on its outline.
"""

from hailcalc.vehicle.panels import (
    BODIES,
    PANEL_LABELS,
    PANELS,
    PANELS_OF_BODY,
    PART_OF_PANEL,
    PARTS,
    Body,
    Equipment,
    Labels,
    Panel,
    ZoneKind,
    with_label,
)
from hailcalc.vehicle.vin import vin_findings

__all__ = [
    "BODIES",
    "PANELS",
    "PANELS_OF_BODY",
    "PANEL_LABELS",
    "PARTS",
    "PART_OF_PANEL",
    "Body",
    "Equipment",
    "Labels",
    "Panel",
    "ZoneKind",
    "vin_findings",
    "with_label",
]
