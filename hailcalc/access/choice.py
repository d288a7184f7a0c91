"""The lightest choice of one option a panel, where options share operations: exactly.

A panel is repaired in one of several ways of access (an option), and an option may need
operations off: any one of its ways, a way being a bit mask over the operations that already
holds everything that must be off first. An operation is done once a vehicle, so what one panel
chooses makes the choice of another cheaper, and panels cannot be decided one by one. Weights
have no unit here; they are Python ints of any size.

The idea: first whatever can be decided without a search is (`_settle`), and the rest falls
apart into groups that share no operation. A small group is simply walked through. In a larger
one every option that has several ways is taken to need only what all of them hold. What is
left, with nested options, is project selection, which a minimum cut solves; its optimum is a
lower bound, and the answer if the ways fit in; if not, branch and bound settles one panel's
way after another.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from functools import cache, reduce
from itertools import pairwise
from math import prod
from operator import and_, or_
from typing import NamedTuple

# Up to so many combinations a walk through them is faster than building a graph.
_WALKED = 300


class Option(NamedTuple):
    """What a panel may take; `ways` are masks of operations of which any one will do."""

    weight: int
    ways: tuple[int, ...]


class Choice(NamedTuple):
    """For each panel the position of its option, the operations needed, and the whole weight."""

    picks: tuple[int, ...]
    mask: int
    weight: int


class _Take(NamedTuple):
    """An option in one of its ways. `mask` is what of `way` is still to be paid for."""

    weight: int
    mask: int
    option: int
    way: int


# Panels by their position, with what each may still take: in the order of the chain, so that
# the masks of the options with one way are nested and one with several ways stands last.
_Panels = Mapping[int, tuple[_Take, ...]]
_Price = Callable[[int], int]

# Nodes of a graph: a panel and how far along its chain, or −1 and the number of operations.
_Node = tuple[int, int]
_SOURCE, _SINK = (-2, 0), (-3, 0)


class _Found(NamedTuple):
    weight: int
    taken: dict[int, _Take]


def groups(panels: Sequence[Sequence[Option]]) -> list[tuple[int, ...]]:
    """Positions of the panels, parted so that no two groups have an operation in common."""
    return _parted(
        (index, _union(way for option in options for way in option.ways))
        for index, options in enumerate(panels)
    )


def _parted(touched: Iterable[tuple[int, int]]) -> list[tuple[int, ...]]:
    """Positions with the masks they touch, parted into groups whose masks are disjoint."""
    parts: list[tuple[int, list[int]]] = []
    for index, mask in touched:
        members, apart = [index], []
        for part in parts:
            if part[0] & mask:
                mask |= part[0]
                members += part[1]
            else:
                apart.append(part)
        parts = [*apart, (mask, members)]
    return sorted(tuple(sorted(members)) for _, members in parts)


def choose(panels: Sequence[Sequence[Option]], costs: Sequence[int]) -> Choice:
    """The lightest choice; `costs[i] >= 0` is what operation i weighs, once for all panels.

    Of several that weigh the same the first that is found, the same one in every run.
    """
    assert all(cost >= 0 for cost in costs)

    @cache
    def price(mask: int) -> int:
        return sum(costs[index] for index in _members(mask))

    found = _lightest({index: _takes(options) for index, options in enumerate(panels)}, price, None)
    assert found is not None
    mask = _union(take.way for take in found.taken.values())
    picks = tuple(found.taken[index].option for index in range(len(panels)))
    return Choice(picks, mask, found.weight)


def _union(masks: Iterable[int]) -> int:
    return reduce(or_, masks, 0)


def _common(masks: Iterable[int]) -> int:
    return reduce(and_, masks)


def _members(mask: int) -> Iterator[int]:
    while mask:
        lowest = mask & -mask
        yield lowest.bit_length() - 1
        mask ^= lowest


def _takes(options: Sequence[Option]) -> tuple[_Take, ...]:
    """What a panel may take, in the order of the chain that its options must form."""
    assert 1 <= len(options) <= 3
    links = []
    for index, option in enumerate(options):
        assert option.ways
        # Of two ways, one within the other, the larger can only cost more.
        ways = [
            way
            for way in dict.fromkeys(option.ways)
            if not any(other != way and other & way == other for other in option.ways)
        ]
        links.append((_common(ways).bit_count(), len(ways), index, ways))
    links.sort()
    for (_, count, _, smaller), (_, _, _, larger) in pairwise(links):
        assert count == 1, "only the last of the chain may have several ways"
        assert all(smaller[0] & way == smaller[0] for way in larger), "needs must be nested"
    return tuple(
        _Take(options[index].weight, way, index, way) for _, _, index, ways in links for way in ways
    )


def _lightest(panels: _Panels, price: _Price, limit: int | None) -> _Found | None:
    """The lightest choice for these panels, or None if none is lighter than `limit`."""
    weight, taken, open_panels = _settle(panels, price)
    parts = _parts(open_panels)
    # No part can weigh less than its lightest takes without their operations.
    floors = [sum(_floor(takes) for takes in part.values()) for part in parts]
    ahead = weight + sum(floors)
    for part, floor in zip(parts, floors, strict=True):
        if limit is not None and ahead >= limit:
            return None
        room = None if limit is None else limit - ahead + floor
        small = prod(map(len, part.values())) <= _WALKED
        found = _walk(part, price, room) if small else _branch(part, price, room)
        if found is None:
            return None
        ahead += found.weight - floor
        taken |= found.taken
    return None if limit is not None and ahead >= limit else _Found(ahead, taken)


def _parts(panels: _Panels) -> list[_Panels]:
    touched = ((index, _union(take.mask for take in takes)) for index, takes in panels.items())
    return [{index: panels[index] for index in part} for part in _parted(touched)]


def _floor(takes: Iterable[_Take]) -> int:
    return min(take.weight for take in takes)


def _settle(panels: _Panels, price: _Price) -> tuple[int, dict[int, _Take], _Panels]:
    """Decide what needs no search: the weight and the takes of it, and the panels left open.

    What every take of a panel needs is sunk and free for all others. An operation that only
    one panel may need joins the weight of the takes that need it. Then takes that are beaten
    fall away. Each of these may allow another, so until nothing changes.
    """
    weight, taken = 0, {}
    left = {index: _unbeaten(takes, price) for index, takes in panels.items()}
    while True:
        sunk = seen = shared = 0
        for takes in left.values():
            masks = [take.mask for take in takes]
            union = _union(masks)
            sunk |= _common(masks)
            shared |= seen & union
            seen |= union
        weight += price(sunk)
        own = seen & ~shared & ~sunk
        gone = own | sunk
        for index, takes in list(left.items()):
            if gone and any(take.mask & gone for take in takes):
                takes = left[index] = _unbeaten([_less(t, own, gone, price) for t in takes], price)
            if len(takes) == 1 and not takes[0].mask:
                taken[index] = takes[0]
                weight += takes[0].weight
                del left[index]
        if not gone:
            return weight, taken, left


def _less(take: _Take, own: int, gone: int, price: _Price) -> _Take:
    """A take less the operations `gone`, of which its `own` join its weight."""
    weight, mask, option, way = take
    return _Take(weight + price(mask & own), mask & ~gone, option, way) if mask & gone else take


def _unbeaten(takes: Sequence[_Take], price: _Price) -> tuple[_Take, ...]:
    """Takes less those in whose place another is never heavier, whatever other panels take."""
    kept = list(takes)
    if len(kept) > 1:
        for take in reversed(takes):
            if any(other is not take and _beats(other, take, price) for other in kept):
                kept.remove(take)
    return tuple(kept)


def _beats(other: _Take, take: _Take, price: _Price) -> bool:
    """Whether `other` saves more than the operations that it needs beyond those of `take`."""
    saved = take.weight - other.weight
    beyond = other.mask & ~take.mask
    return saved > 0 and price(beyond) < saved if beyond else saved >= 0


def _walk(panels: _Panels, price: _Price, limit: int | None) -> _Found | None:
    """The lightest of all combinations of takes, leaving off where it cannot become lighter."""
    order = list(panels.values())
    floors = [0]
    for takes in reversed(order):
        floors.append(floors[-1] + _floor(takes))
    floors.reverse()
    best: tuple[_Take, ...] | None = None

    def walk(weight: int, mask: int, path: tuple[_Take, ...]) -> None:
        nonlocal best, limit
        position = len(path)
        if limit is not None and weight + floors[position] >= limit:
            return
        if position == len(order):
            best, limit = path, weight
            return
        for take in order[position]:
            more = take.mask & ~mask
            walk(weight + take.weight + (price(more) if more else 0), mask | more, (*path, take))

    walk(0, 0, ())
    if best is None or limit is None:
        return None
    return _Found(limit, dict(zip(panels, best, strict=True)))


def _branch(panels: _Panels, price: _Price, limit: int | None) -> _Found | None:
    """The lightest choice of a large group if it is lighter than `limit`, by branch and bound."""
    bound, allowed = _relaxed(panels, price)
    if limit is not None and bound >= limit:
        return None
    taken, worst = _completed(allowed, price)
    best = _improved(panels, taken, price)
    if best.weight == bound:
        return best
    found = best if limit is None or best.weight < limit else None
    for takes in _branches(panels[worst]):
        lighter = _lightest({**panels, worst: takes}, price, found.weight if found else limit)
        found = lighter or found
    return found


def _branches(takes: tuple[_Take, ...]) -> Iterator[tuple[_Take, ...]]:
    """Each way of the option that has several, and the other options."""
    last = [take for take in takes if take.option == takes[-1].option]
    for take in last:
        yield (take,)
    if len(last) < len(takes):
        yield takes[: -len(last)]


def _completed(allowed: _Panels, price: _Price) -> tuple[dict[int, _Take], int]:
    """A take of each panel, all ways of the same option, one panel after the other.

    Also the panel whose way adds the most to what its option needs in any case: the one on
    which the bound is furthest from the truth.
    """
    mask = _union(_common(take.mask for take in takes) for takes in allowed.values())

    def added(take: _Take) -> int:
        return take.weight + price(take.mask & ~mask)

    gaps = {
        index: min(map(added, takes)) - _floor(takes)
        for index, takes in allowed.items()
        if len(takes) > 1
    }
    taken: dict[int, _Take] = {}
    for index, takes in allowed.items():
        taken[index] = min(takes, key=added)
        mask |= taken[index].mask
    return taken, max(gaps, key=lambda index: gaps[index], default=-1)


def _improved(panels: _Panels, taken: dict[int, _Take], price: _Price) -> _Found:
    """The choice with one panel after the other taking what is best beside all others."""
    changed = True
    while changed:
        changed = False
        for index, takes in panels.items():
            mask = _union(take.mask for other, take in taken.items() if other != index)
            weights = [take.weight + price(take.mask & ~mask) for take in takes]
            least = min(weights)
            if least < weights[takes.index(taken[index])]:
                taken[index] = takes[weights.index(least)]
                changed = True
    weight = sum(take.weight for take in taken.values())
    return _Found(weight + price(_union(take.mask for take in taken.values())), taken)


def _chain(takes: tuple[_Take, ...]) -> list[tuple[_Take, ...]]:
    """The takes by option, in the order of the chain: all but the last have one way."""
    return [
        tuple(take for take in takes if take.option == option)
        for option in dict.fromkeys(take.option for take in takes)
    ]


def _relaxed(panels: _Panels, price: _Price) -> tuple[int, _Panels]:
    """The least weight if an option needs only what all its ways hold, and the takes for it.

    Project selection, a closure of least weight: for each option of a panel but its first a
    node "at least this one", which saves what the option weighs less than the one before, and
    requires the node before and the operations that it adds. The source pays for savings
    forgone, the sink for operations done; requirements have no capacity: they cannot be cut.
    """
    # Imported here: it takes longer than most plans, of which few come this far. On graphs of 20
    # panels and 60 operations three of the solvers of networkx are level (2 ms; preflow-push
    # takes 3, Dinitz 4); of those, the search trees of this one are the cut without a further
    # search.
    from networkx import DiGraph
    from networkx.algorithms.flow import boykov_kolmogorov

    chains = {index: _chain(takes) for index, takes in panels.items()}
    graph: DiGraph[_Node] = DiGraph()
    graph.add_nodes_from((_SOURCE, _SINK))
    needing: dict[int, list[_Node]] = {}
    weight = 0
    for index, chain in chains.items():
        weight += _floor(chain[0])
        for level, (before, takes) in enumerate(pairwise(chain), 1):
            saved = _floor(before) - _floor(takes)
            weight -= saved
            graph.add_edge(_SOURCE, (index, level), capacity=saved)
            if level > 1:
                graph.add_edge((index, level), (index, level - 1))
            common = _common(take.mask for take in takes)
            for operation in _members(common & ~_common(take.mask for take in before)):
                needing.setdefault(operation, []).append((index, level))
    # Operations that the same nodes need are one.
    bundles: dict[tuple[_Node, ...], int] = {}
    for operation, nodes in needing.items():
        bundles[tuple(nodes)] = bundles.get(tuple(nodes), 0) | 1 << operation
    for number, (shared_by, bundle) in enumerate(bundles.items()):
        graph.add_edge((-1, number), _SINK, capacity=price(bundle))
        for node in shared_by:
            graph.add_edge(node, (-1, number))
    residual = boykov_kolmogorov(graph, _SOURCE, _SINK)
    taken = residual.graph["trees"][0]
    reached = {
        index: max((level for level in range(1, len(chain)) if (index, level) in taken), default=0)
        for index, chain in chains.items()
    }
    flow: int = residual.graph["flow_value"]
    return weight + flow, {index: chain[reached[index]] for index, chain in chains.items()}
