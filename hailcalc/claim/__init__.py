"""A claim's life beyond its first sheet: what a supplement changes, line by line."""

from hailcalc.claim.changes import Changes, LineChange, PanelChange, changes_between

__all__ = ["Changes", "LineChange", "PanelChange", "changes_between"]
