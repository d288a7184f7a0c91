"""Two counts of one vehicle, the shop's and the adjuster's, set against each other.

`compare` is the computation: panel by panel in dents, bands and money, and, where both marked
their dents on the panel, mark by mark. `report` writes it as text and JSON, `pdf` as pages
with drawings.
"""

from hailcalc.recount.compare import MarkedTwice, PanelRecount, Recount, recount

__all__ = ["MarkedTwice", "PanelRecount", "Recount", "recount"]
