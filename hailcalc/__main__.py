"""`python -m hailcalc`: the command line."""

from hailcalc.cli import main

main()
