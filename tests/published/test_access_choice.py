"""The choice of access against every combination there is, against the maximum flow of another
library (scipy.sparse.csgraph.maximum_flow), and against an integer programme
(scipy.optimize.milp, the HiGHS solver).

Where every option has one way the choice is project selection: J. C. Picard 1976, "Maximal
closure of a graph and applications to combinatorial problems", Management Science 22(11),
1268–1272 (from memory): the least closure is what a minimum cut leaves on the source's side.
Its value is that of a maximum flow: L. R. Ford and D. R. Fulkerson 1956, "Maximal flow through
a network", Canadian Journal of Mathematics 8, 399–404 (from memory). With alternatives it is no
longer a cut, and only general solvers and trying out are left.

Weights have no unit. Operations need others off first; a panel is replaced (needs nothing),
glued (nothing, or little) or pushed (what glue needs and more, in one of up to three ways).
"""

from __future__ import annotations

from collections.abc import Iterator
from random import Random
from typing import NamedTuple

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import connected_components, maximum_flow

from hailcalc.access.choice import Choice, Option, choose, groups
from tests.effort import examples

Panel = list[Option]


class Case(NamedTuple):
    """Panels, what the operations weigh, and for each those that must be off before it."""

    panels: list[Panel]
    costs: list[int]
    after: list[list[int]]


def a_case(random: Random, panels: int, operations: int, most_ways: int) -> Case:
    """Panels for which pushing is light and what it needs is dear, so that they must share.

    What pushing saves is a part of what it needs, of which no panel alone would pay the rest:
    otherwise most panels could be decided without a search.
    """
    after = [
        random.sample(range(position), min(position, random.choice([0, 0, 0, 1, 2])))
        for position in range(operations)
    ]
    closures: list[int] = []
    for position, before in enumerate(after):
        mask = 1 << position
        for other in before:
            mask |= closures[other]
        closures.append(mask)
    costs = [random.choice([random.randint(0, 9), random.randint(1, 60)]) for _ in after]
    share = random.choice([0.2, 0.4, 0.6, 1.1])
    made = [a_panel(random, closures, costs, share, most_ways) for _ in range(panels)]
    return Case(made, costs, after)


def a_panel(
    random: Random, closures: list[int], costs: list[int], share: float, most_ways: int
) -> Panel:
    pushed = random.randint(-40, 40)
    glue = random.choice([0, 0, 0, random.choice(closures)])
    shared = glue | random.choice([0, random.choice(closures)])
    ways = [
        shared | random.choice(closures) | random.choice(closures)
        for _ in range(random.randint(1, most_ways))
    ]
    saved = int(random.uniform(-0.05, share) * price(ways[0], costs))
    options = [Option(pushed, tuple(ways))]
    if random.random() < 0.9:
        options.append(Option(pushed + saved, (glue,)))
    if random.random() < 0.5 or glue:
        options.append(Option(pushed + saved + random.randint(0, 30), (0,)))
    random.shuffle(options)
    return options


@st.composite
def cases(draw: st.DrawFn, panels: int = 9, operations: int = 10, most_ways: int = 3) -> Case:
    random = draw(st.randoms(use_true_random=False))
    return a_case(random, draw(st.integers(1, panels)), draw(st.integers(1, operations)), most_ways)


def members(mask: int) -> Iterator[int]:
    return (position for position in range(mask.bit_length()) if mask >> position & 1)


def price(mask: int, costs: list[int]) -> int:
    return sum(costs[position] for position in members(mask))


def weighs(choice: Choice, case: Case) -> int:
    """What the picks and the mask weigh, if the mask holds a way of every pick and no more."""
    picked = [panel[pick] for panel, pick in zip(case.panels, choice.picks, strict=True)]
    needed = 0
    for option in picked:
        ways = [way for way in option.ways if way & choice.mask == way]
        assert ways
        for way in ways:
            needed |= way
    assert choice.mask & needed == choice.mask
    return sum(option.weight for option in picked) + price(choice.mask, case.costs)


def least_of_all(case: Case) -> int:
    """The optimum by trying every assignment with every combination of ways."""
    weights = np.zeros(1, dtype=np.int64)
    masks = np.zeros(1, dtype=np.int64)
    for panel in case.panels:
        takes = [(option.weight, way) for option in panel for way in option.ways]
        weights = np.add.outer(weights, [weight for weight, _ in takes]).ravel()
        masks = np.bitwise_or.outer(masks, [way for _, way in takes]).ravel()
    prices = np.array([price(mask, case.costs) for mask in range(1 << len(case.costs))])
    return int((weights + prices[masks]).min())


def few_enough(random: Random) -> Case:
    """Up to 12 panels, as long as their combinations can be tried."""
    panels, operations = random.choice([2, 5, 12, 12]), random.randint(1, 9)
    case = a_case(random, panels, operations, random.choice([1, 1, 2, 3]))
    combinations, count = 1, 0
    for panel in case.panels:
        combinations *= sum(len(option.ways) for option in panel)
        count += combinations <= 100_000
    return case._replace(panels=case.panels[:count])


# --- every combination --------------------------------------------------------------------------


@pytest.mark.parametrize("hundred", range(20))
def test_no_combination_of_options_and_ways_is_lighter(hundred: int) -> None:
    for seed in range(100 * hundred, 100 * hundred + 100):
        case = few_enough(Random(seed))
        choice = choose(case.panels, case.costs)
        assert choice.weight == weighs(choice, case) == least_of_all(case), seed


@settings(max_examples=examples(150))
@given(st.randoms(use_true_random=False))
def test_no_combination_is_lighter_in_whatever_case_can_be_found(random: Random) -> None:
    case = few_enough(random)
    choice = choose(case.panels, case.costs)
    assert choice.weight == weighs(choice, case) == least_of_all(case)


# --- maximum flow -------------------------------------------------------------------------------


def least_by_flow(case: Case) -> int:
    """The optimum from the maximum flow of the graph that project selection defines.

    A project "at least this option" for each option in the order of what they need, which
    requires the one before it and its operations; an operation requires those before it. What
    saves hangs on the source, what weighs on the sink; every panel's first project must be.
    """
    source, sink = 0, 1
    first = 2 + len(case.costs)
    edges: dict[tuple[int, int], int] = {}
    always = sum(abs(option.weight) for panel in case.panels for option in panel)
    endless = 2 * always + sum(case.costs) + 1
    weight = 0
    for operation, cost in enumerate(case.costs):
        edges[2 + operation, sink] = cost
        for before in case.after[operation]:
            edges[2 + operation, 2 + before] = endless
    node = first
    for panel in case.panels:
        chain = sorted(panel, key=lambda option: option.ways[0].bit_count())
        for level, option in enumerate(chain):
            if level == 0:
                weight += option.weight
                edges[source, node] = endless
            else:
                more = option.weight - chain[level - 1].weight
                weight += min(more, 0)
                edges[node, node - 1] = endless
                if more < 0:
                    edges[source, node] = -more
                else:
                    edges[node, sink] = more
            for operation in members(option.ways[0]):
                edges[node, 2 + operation] = endless
            node += 1
    assert endless * len(case.panels) < 2**31
    ends = np.array(list(edges))
    capacities = np.array(list(edges.values()), dtype=np.int32)
    graph = csr_matrix((capacities, (ends[:, 0], ends[:, 1])), shape=(node, node))
    return weight + int(maximum_flow(graph, source, sink).flow_value)


@settings(max_examples=examples(250))
@given(cases(panels=24, operations=60, most_ways=1))
def test_with_one_way_an_option_the_weight_is_what_a_maximum_flow_leaves(case: Case) -> None:
    choice = choose(case.panels, case.costs)
    assert choice.weight == weighs(choice, case) == least_by_flow(case)


@pytest.mark.parametrize("seed", range(60))
def test_a_full_vehicle_with_one_way_an_option_weighs_what_a_maximum_flow_leaves(
    seed: int,
) -> None:
    case = a_case(Random(seed), 20, 25, 1)
    choice = choose(case.panels, case.costs)
    assert choice.weight == weighs(choice, case) == least_by_flow(case)


# --- integer programmes -------------------------------------------------------------------------


def least_by_programme(case: Case) -> int:
    """The optimum over 0/1 variables: an operation is done or not, a way is taken or not."""
    count = len(case.costs)
    objective: list[int] = [*case.costs]
    panel_of: list[int] = []
    pairs: list[tuple[int, int]] = []
    for position, panel in enumerate(case.panels):
        for option in panel:
            for way in option.ways:
                pairs += [(len(objective), operation) for operation in members(way)]
                objective.append(option.weight)
                panel_of.append(position)
    one = np.zeros((len(case.panels), len(objective)))
    one[panel_of, np.arange(count, len(objective))] = 1
    needs = np.zeros((max(len(pairs), 1), len(objective)))
    for row, (taken, operation) in enumerate(pairs):  # operation − taken ≥ 0
        needs[row, operation], needs[row, taken] = 1, -1
    found = milp(
        c=np.array(objective),
        integrality=np.ones(len(objective)),
        bounds=Bounds(0, 1),
        constraints=[LinearConstraint(one, lb=1, ub=1), LinearConstraint(needs, lb=0)],
        options={"mip_rel_gap": 0},
    )
    assert found.success
    weight: int = round(found.fun)
    return weight


@settings(max_examples=examples(60))
@given(cases(panels=20, operations=40))
def test_with_alternatives_the_weight_is_what_an_integer_programme_finds(case: Case) -> None:
    choice = choose(case.panels, case.costs)
    assert choice.weight == weighs(choice, case) == least_by_programme(case)


@pytest.mark.parametrize("seed", range(60))
def test_a_full_vehicle_with_alternatives_weighs_what_an_integer_programme_finds(
    seed: int,
) -> None:
    case = a_case(Random(seed), 20, 30, 3)
    choice = choose(case.panels, case.costs)
    assert choice.weight == weighs(choice, case) == least_by_programme(case)


# --- what must hold whatever the weights --------------------------------------------------------


@settings(max_examples=examples(100))
@given(cases())
def test_one_panel_more_adds_at_least_its_lightest_option_and_at_most_what_it_costs_alone(
    case: Case,
) -> None:
    *fewer, last = case.panels
    before = choose(fewer, case.costs).weight
    added = choose(case.panels, case.costs).weight - before
    alone = choose([last], case.costs).weight
    assert min(option.weight for option in last) <= added <= alone


@settings(max_examples=examples(100))
@given(cases(), st.data())
def test_an_operation_for_free_never_makes_it_heavier_and_saves_no_more_than_it_cost(
    case: Case, data: st.DataObject
) -> None:
    free = data.draw(st.integers(0, len(case.costs) - 1))
    dear = choose(case.panels, case.costs)
    costs = [cost * (position != free) for position, cost in enumerate(case.costs)]
    cheap = choose(case.panels, costs)
    assert 0 <= dear.weight - cheap.weight <= case.costs[free]
    if dear.mask >> free & 1:
        assert dear.weight - cheap.weight == case.costs[free]


@settings(max_examples=examples(100))
@given(cases(), st.data())
def test_an_option_less_never_makes_it_lighter(case: Case, data: st.DataObject) -> None:
    spot = data.draw(st.integers(0, len(case.panels) - 1))
    gone = data.draw(st.integers(0, len(case.panels[spot]) - 1))
    left = [option for position, option in enumerate(case.panels[spot]) if position != gone]
    full = choose(case.panels, case.costs)
    if left:
        panels = [*case.panels[:spot], left, *case.panels[spot + 1 :]]
        assert choose(panels, case.costs).weight >= full.weight
        if full.picks[spot] != gone:
            assert choose(panels, case.costs).weight == full.weight


@settings(max_examples=examples(100))
@given(cases(panels=14, operations=14), st.sampled_from([3, 10**40]))
def test_a_unit_so_many_times_as_small_changes_no_pick(case: Case, times: int) -> None:
    panels = [
        [Option(option.weight * times, option.ways) for option in panel] for panel in case.panels
    ]
    small = choose(panels, [cost * times for cost in case.costs])
    plain = choose(case.panels, case.costs)
    assert small == plain._replace(weight=plain.weight * times)


@settings(max_examples=examples(100))
@given(cases(panels=12, operations=60))
def test_groups_are_the_connected_parts_and_can_be_decided_apart(case: Case) -> None:
    parts = groups(case.panels)
    assert sorted(index for part in parts for index in part) == list(range(len(case.panels)))
    touches = np.zeros((len(case.panels), len(case.costs)), dtype=int)
    for index, panel in enumerate(case.panels):
        for option in panel:
            for way in option.ways:
                touches[index, list(members(way))] = 1
    count, labels = connected_components(csr_matrix(touches @ touches.T), directed=False)
    assert len(parts) == count
    assert all(len({labels[index] for index in part}) == 1 for part in parts)
    apart = [choose([case.panels[index] for index in part], case.costs) for part in parts]
    assert sum(choice.weight for choice in apart) == choose(case.panels, case.costs).weight
