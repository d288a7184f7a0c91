"""How many examples a property is tried on: few in every run, many in `make soak`."""

from __future__ import annotations

import os

SOAK = os.environ.get("HYPOTHESIS_PROFILE") == "soak"


def examples(number: int) -> int:
    """Half of `number` examples, or thirty times `number` when soaking."""
    return 30 * number if SOAK else max(1, number // 2)
