"""Comparisons to draw: the invented storms, and the same made awkward."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import cache
from itertools import combinations
from typing import NamedTuple

from hailcalc.sheet.layout import Mark, Style, TextMark, text_width
from hailcalc.storm.compare import Comparison, compare
from hailcalc.storm.economics import StormFigures
from hailcalc.storm.folder import figures_of, open_storm
from tests.builders import ROOT

STORMS = ROOT / "demo" / "storms"
NAMES = ("saltmarsh-may", "drovermoor-june", "tansywick-july")
LONG = "The long & <lasting> hail of the Upper Thistledown valleys, and what came after it " * 2
UNBROKEN = "Quillandmerethistledownhollow" * 4


@cache
def figures(name: str) -> StormFigures:
    """The figures of an invented storm."""
    return figures_of(open_storm(STORMS / name))


@cache
def three() -> Comparison:
    """The three invented storms."""
    return compare([figures(name) for name in NAMES], resamples=400)


def renamed(found: StormFigures, name: str, title: str, **costs: str) -> StormFigures:
    """A storm under another name, its file saying other costs (its figures stay)."""
    storm = found.storm
    header = storm.storm.model_copy(update={"name": name, "title": title})
    return found._replace(
        storm=storm.model_copy(
            update={"storm": header, "costs": storm.costs.model_copy(update=costs)}
        )
    )


def with_long_names(found: StormFigures) -> StormFigures:
    """A storm with the longest title, and technicians and insurers that are as long."""
    splits = {
        by: tuple(row._replace(name=f"{at} {LONG}"[:200]) for at, row in enumerate(rows))
        if by in ("insurer", "technician")
        else rows
        for by, rows in found.splits.items()
    }
    return renamed(found, found.storm.storm.name, LONG.strip()[:200])._replace(splits=splits)


def at_a_loss(found: StormFigures) -> StormFigures:
    """The storm with fixed costs so much higher that nothing is left."""
    fixed = tuple(each._replace(amount=each.amount * 9) for each in found.fixed_costs)
    return found._replace(fixed_costs=fixed)


class Place(NamedTuple):
    """What a text covers: from its foot to the height of its capitals."""

    text: str
    left: float
    foot: float
    right: float
    head: float


def places(marks: Iterable[Mark]) -> list[Place]:
    """Where the texts among marks lie."""
    return [
        Place(
            mark.text,
            mark.x,
            mark.y - 0.1 * mark.size,
            mark.x + text_width(mark.text, Style(mark.face, mark.size)),
            mark.y + 0.62 * mark.size,
        )
        for mark in marks
        if isinstance(mark, TextMark)
    ]


def overlapping(texts: Iterable[Place]) -> Iterator[tuple[str, str]]:
    """Pairs of texts that cover each other."""
    for one, other in combinations(texts, 2):
        if (
            min(one.right, other.right) - max(one.left, other.left) > 0.5
            and min(one.head, other.head) - max(one.foot, other.foot) > 0.5
        ):
            yield one.text, other.text
