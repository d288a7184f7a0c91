"""Counting, panel by panel: how many dents of which size class, and what is said of them.

`tally` turns a panel of a claim file into counts by the matrix's columns; `csvfiles`
reads tallies and single measured dents from CSV. Sizes in millimetres, longest axis.
"""

from hailcalc.counting.tally import PanelCount, count_panel

__all__ = ["PanelCount", "count_panel"]
