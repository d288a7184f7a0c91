"""A hail stone's size in the words of the National Weather Service.

Hundredths of an inch. The words compare stones with common things and are rounded: their
quarter, 1.00 inch, is not the coin, which measures 0.955 inch. So they are for stones, and no
dent is ever sized by them.
"""

from __future__ import annotations

from bisect import bisect_right

NWS_SIZES: tuple[tuple[int, str], ...] = (
    (25, "pea"),
    (50, "small marble"),
    (75, "penny"),
    (88, "nickel"),
    (100, "quarter"),
    (125, "half dollar"),
    (150, "walnut or ping-pong ball"),
    (175, "golf ball"),
    (200, "hen egg"),
    (250, "tennis ball"),
    (275, "baseball"),
    (300, "tea cup"),
    (400, "grapefruit"),
    (450, "softball"),
)
"""Comparison objects of the US National Weather Service, hundredths of an inch."""

_AT = [size for size, _ in NWS_SIZES]


def size_words(hundredths: int) -> str:
    """What a stone of so many hundredths of an inch is compared with."""
    above = bisect_right(_AT, hundredths)
    if above == 0:
        return f"below {NWS_SIZES[0][1]} size"
    size, words = NWS_SIZES[above - 1]
    if size == hundredths:
        return f"{words} size"
    if above == len(NWS_SIZES):
        return f"above {words} size"
    return f"from {words} size, below {NWS_SIZES[above][1]} size"
