"""The REST API: a thin layer of HTTP over hailcalc, for this machine only."""
