"""From a claim and a matrix to an estimate: every line and every total.

`compiled` is a matrix made ready, `fit` what can be wrong with a claim under it, `panels` the
lines of one panel, `vehicle` what belongs to the whole vehicle, `planning` how the panels are
reached, `pricing` puts it together. Amounts in minor units.
"""

from hailcalc.estimate.compiled import CompiledMatrix, OversizeRule, compile_matrix
from hailcalc.estimate.fit import fit_problems
from hailcalc.estimate.panels import panel_lines
from hailcalc.estimate.pricing import AtLimit, Estimate, PanelResult, price
from hailcalc.estimate.vehicle import Totals

__all__ = [
    "AtLimit",
    "CompiledMatrix",
    "Estimate",
    "OversizeRule",
    "PanelResult",
    "Totals",
    "compile_matrix",
    "fit_problems",
    "panel_lines",
    "price",
]
