"""Two counts of one panel, mark by mark: which marks are the same dent.

Marks are (x, y, mm): the place on the panel and the size, all in millimetres. Inside,
everything is whole micrometres, so that equal answers are equal and not nearly so.

The idea: two marks no farther apart than the gate may be one dent. Of all ways to pair them,
each mark at most once, the one is taken whose sum of (gate - distance) is largest; of equal
ones that with more pairs, then that whose sizes differ least. Most pairs would be the wrong
thing to want: where counter A marked a dent and counter B the same dent and another 19 mm on,
while A has a stray mark 19 mm to the other side, two far-fetched pairs would win over the
obvious one. With (gate - distance) a pair is worth the more the better it fits, one at the gate
is worth nothing, and leaving two marks unpaired costs as much as pairing them at the gate.

How wide a gate: five times the error (sd) with which a mark is placed. Measured with 3 mm on a
panel of 1.8 m², 120 to 400 dents, counters who find 80 and 90 %, 1,000 panels a case: at 15 mm
the limits of `twocounts` hold the truth 94-95 % of the time, at 12 mm 48-70 %, because pairs are
torn apart; at 20 mm 91-97 %, because neighbours are taken for one dent where there are many.

Sparse: neighbours come from a grid with cells of the gate's width; marks that no chain of
neighbours joins are paired apart; within such a group marks of the first count are added one at
a time along the cheapest augmenting path (Dijkstra with potentials; H. W. Kuhn 1955, J. Edmonds
and R. M. Karp 1972), stopped at the first mark that is free.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from heapq import heappop, heappush
from math import isqrt
from typing import NamedTuple

Mark = tuple[float, float, float]
_Whole = tuple[int, int, int]
# For each mark of the first count its neighbours in the second: (position, gain, size difference).
_Near = dict[int, list[tuple[int, int, int]]]


class Matching(NamedTuple):
    """Positions of marks that are one dent, and of those that only one counter has."""

    pairs: tuple[tuple[int, int], ...]
    only_a: tuple[int, ...]
    only_b: tuple[int, ...]


def match_marks(a: Sequence[Mark], b: Sequence[Mark], gate_mm: float) -> Matching:
    """Pair the marks of two counts of one panel; see the module for what is best."""
    gate = round(gate_mm * 1000)
    if gate < 0:
        raise ValueError(f"gate of {gate_mm} mm: expected 0 or more")
    near = _neighbours([_whole(mark) for mark in a], [_whole(mark) for mark in b], gate)
    pairs = sorted(pair for group in _groups(near) for pair in _pair_group(group, near))
    in_a, in_b = {i for i, _ in pairs}, {j for _, j in pairs}
    return Matching(
        tuple(pairs),
        tuple(i for i in range(len(a)) if i not in in_a),
        tuple(j for j in range(len(b)) if j not in in_b),
    )


def _whole(mark: Mark) -> _Whole:
    x, y, size = mark
    return round(x * 1000), round(y * 1000), round(size * 1000)


def _neighbours(a: Sequence[_Whole], b: Sequence[_Whole], gate: int) -> _Near:
    side = max(gate, 1)
    cells: defaultdict[tuple[int, int], list[int]] = defaultdict(list)
    for j, (x, y, _) in enumerate(b):
        cells[x // side, y // side].append(j)
    near: _Near = {}
    for i, (x, y, size) in enumerate(a):
        column, row = x // side, y // side
        found: list[tuple[int, int, int]] = []
        for cell in ((column + dx, row + dy) for dx in (-1, 0, 1) for dy in (-1, 0, 1)):
            for j in cells.get(cell, ()):
                square = (b[j][0] - x) ** 2 + (b[j][1] - y) ** 2
                if square <= gate * gate:
                    found.append((j, gate - _rounded_root(square), abs(b[j][2] - size)))
        if found:
            near[i] = sorted(found)
    return near


def _rounded_root(square: int) -> int:
    """The square root to the nearest whole number."""
    return (isqrt(4 * square) + 1) // 2


def _groups(near: _Near) -> Iterator[list[int]]:
    """Marks of the first count, ascending, that share neighbours, directly or by a chain."""
    beside: defaultdict[int, list[int]] = defaultdict(list)
    for i, neighbours in near.items():
        for j, _, _ in neighbours:
            beside[j].append(i)
    seen: set[int] = set()
    reached: set[int] = set()
    for start in near:
        if start in seen:
            continue
        seen.add(start)
        group = [start]
        for i in group:  # grows as it is walked
            for j, _, _ in near[i]:
                if j not in reached:
                    reached.add(j)
                    fresh = [other for other in beside[j] if other not in seen]
                    seen.update(fresh)
                    group += fresh
        yield sorted(group)


def _pair_group(group: Sequence[int], near: _Near) -> list[tuple[int, int]]:
    """The best pairs within one group."""
    # One whole number in place of (gain, pairs, size difference): each step outweighs the
    # largest sum that the following ones can come to.
    most = min(len(group), len({j for i in group for j, _, _ in near[i]}))
    pair = most * max(differ for i in group for _, _, differ in near[i]) + 1
    worth = {
        i: [(j, (gain * (most + 1) + 1) * pair - differ) for j, gain, differ in near[i]]
        for i in group
    }
    return _Assignment(worth).pairs()


class _Assignment:
    """Pairs of the largest total worth, a mark of the first count added at a time.

    `price_a[i] + price_b[j] >= worth` holds for all neighbours and with equality for pairs;
    prices are never negative, and a mark left unpaired has price 0: so the pairs are best.
    """

    def __init__(self, worth: dict[int, list[tuple[int, int]]]) -> None:
        self._worth = worth
        self._price_a = {i: max(value for _, value in row) for i, row in worth.items()}
        self._price_b: defaultdict[int, int] = defaultdict(int)
        self._of_a: dict[int, int] = {}
        self._of_b: dict[int, int] = {}

    def pairs(self) -> list[tuple[int, int]]:
        for i in self._worth:
            self._add(i)
        return list(self._of_a.items())

    def _add(self, start: int) -> None:
        """Dijkstra from `start` to a free mark, or to one that is better left unpaired."""
        at = {start: 0}  # marks of the first count that are reached, and how far
        settled: dict[int, int] = {}
        shortest: dict[int, int] = {}
        came_from: dict[int, int] = {}
        heap: list[tuple[int, int]] = []
        i, dropped, stop = start, start, self._price_a[start]
        end: int | None = None
        while True:
            for j, worth in self._worth[i]:
                distance = at[i] + self._price_a[i] + self._price_b[j] - worth
                if j not in settled and distance < shortest.get(j, stop + 1):
                    shortest[j], came_from[j] = distance, i
                    heappush(heap, (distance, j))
            while heap and heap[0][1] in settled:
                heappop(heap)
            if not heap or heap[0][0] > stop:
                break
            distance, j = heappop(heap)
            if j not in self._of_b:
                end, stop = j, distance
                break
            settled[j] = distance
            i = self._of_b[j]
            at[i] = distance
            if distance + self._price_a[i] < stop:
                stop, dropped = distance + self._price_a[i], i
        for i, distance in at.items():
            self._price_a[i] -= stop - distance
        for j, distance in settled.items():
            self._price_b[j] += stop - distance
        self._turn(start, end, dropped, came_from)

    def _turn(self, start: int, end: int | None, dropped: int, came_from: dict[int, int]) -> None:
        """Exchange the pairs along the path found."""
        if end is None:
            if dropped == start:
                return
            end = self._of_a.pop(dropped)
        while True:
            i = came_from[end]
            following = self._of_a.get(i)
            self._of_a[i], self._of_b[end] = end, i
            if i == start:
                return
            assert following is not None
            end = following
