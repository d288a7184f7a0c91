"""Counting, panel by panel: how many dents of which size class, and what is said of them.

`tally` turns a panel of a claim file into counts by the matrix's columns. What needs the
panel's outline is its `survey`: `marks` holds dents with a place against the outline's
zones, `squares` scales sample squares to the panel's area with the `limits` of the
estimate. `csvfiles` and `geojson` read counts from files. Two counts of one panel are
settled by `matching` (which marks are the same dent) and `twocounts` (what both missed).
Sizes in millimetres, longest axis.
"""

from hailcalc.counting.tally import At, PanelCount, count_panel, dent_marks

__all__ = [
    "At",
    "PanelCount",
    "count_panel",
    "dent_marks",
]
