"""Which channel each cell should have so that the cells share as little spectrum as they can.

Graph colouring with a cost: cells are vertices, hearing each other is an edge with a weight, and
two cells on overlapping channels pay weight x overlap in MHz. Small sets are solved exactly by
branch and bound (Land and Doig, Econometrica 28, 1960; from memory); larger ones by taking the cell
first that has most to lose, then mending cell by cell. The result says which.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeAlias

from msgspec import Struct

from meshlint.physics.channels import overlap_mhz

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from meshlint.law.choices import Heard
    from meshlint.physics.channels import Channel

EXACT_CELLS = 10
# Options tried before the search gives up its proof: a bound on time, half a second or so.
EXACT_STEPS = 200_000

# What every option of every cell not yet placed would add.
_Costs: TypeAlias = "dict[str, list[float]]"


class Edge(Struct, frozen=True):
    """Two cells that hear each other, and how much sharing one MHz costs them."""

    a: str
    b: str
    weight: float = 1.0


class Assignment(Struct, frozen=True):
    """A channel for every cell and what it costs; `exact` where nothing cheaper exists."""

    channels: Mapping[str, Channel]
    cost: float
    exact: bool


class _Instance(Struct, frozen=True):
    """Cells in the order of search, what each option costs alone and beside another cell's.

    `shared[a][b][i][j]` is what option i of cell a and option j of cell b cost together.
    """

    cells: tuple[str, ...]
    own: _Costs
    shared: dict[str, dict[str, list[list[float]]]]

    def beside(self, costs: _Costs, cell: str, option: int) -> _Costs:
        """Return the costs of the other open cells once this one has its option."""
        rows = self.shared[cell]
        return {
            other: [c + more for c, more in zip(row, rows[other][option], strict=True)]
            if other in rows
            else row
            for other, row in costs.items()
            if other != cell
        }


def assign(
    candidates: Mapping[str, Sequence[Channel]],
    edges: Sequence[Edge],
    heard: Mapping[str, Sequence[Heard]] | None = None,
) -> Assignment:
    """Give every cell one of its candidate channels at the least total cost.

    `candidates`: per cell the channels it may have, the preferred ones first (ties go to them).
    `edges`: cells that hear each other. `heard`: per cell other people's networks, each with a
    weight per MHz of overlap. Up to `EXACT_CELLS` cells the result is proven best unless the search
    runs out of `EXACT_STEPS`; `exact` says so. Raises `ValueError` for a cell without candidates.
    """
    for cell, options in candidates.items():
        if not options:
            raise ValueError(f"cell {cell} has no candidate channel")
    problem = _problem(candidates, edges, heard or {})
    chosen = _mended(problem, _greedy(problem))
    # Nothing is cheaper than what every cell would pay if it were alone.
    exact = _total(problem, chosen) <= sum(map(min, problem.own.values()))
    if not exact and len(problem.cells) <= EXACT_CELLS:
        chosen, exact = _searched(problem, chosen)
    named = {cell: candidates[cell][chosen[cell]] for cell in candidates}
    return Assignment(named, _total(problem, chosen), exact)


def _problem(
    candidates: Mapping[str, Sequence[Channel]],
    edges: Sequence[Edge],
    heard: Mapping[str, Sequence[Heard]],
) -> _Instance:
    weights: dict[str, dict[str, float]] = {cell: {} for cell in candidates}
    for edge in edges:
        for one, other in ((edge.a, edge.b), (edge.b, edge.a)):
            weights[one][other] = weights[one].get(other, 0.0) + edge.weight
    own = {
        cell: [
            sum((weight * overlap_mhz(span, c) for span, weight in heard.get(cell, ())), 0.0)
            for c in options
        ]
        for cell, options in candidates.items()
    }
    # Most cells have the same options, so that few tables of what two of them cost are needed.
    kinds: dict[tuple[Channel, ...], int] = {}
    kind = {c: kinds.setdefault(tuple(options), len(kinds)) for c, options in candidates.items()}
    tables: dict[tuple[int, int, float], list[list[float]]] = {}
    shared: dict[str, dict[str, list[list[float]]]] = {}
    for a, beside in weights.items():
        shared[a] = {}
        for b, w in beside.items():
            key = (kind[a], kind[b], w)
            if key not in tables:
                tables[key] = [
                    [w * overlap_mhz(i, j) for j in candidates[b]] for i in candidates[a]
                ]
            shared[a][b] = tables[key]
    order = sorted(candidates, key=lambda c: (-sum(weights[c].values()), c))
    return _Instance(tuple(order), {cell: own[cell] for cell in order}, shared)


def _greedy(problem: _Instance) -> dict[str, int]:
    """Place the cell first whose best option costs most."""
    chosen: dict[str, int] = {}
    costs = dict(problem.own)
    least = {cell: min(row) for cell, row in costs.items()}
    while costs:
        cell = max(costs, key=least.__getitem__)
        chosen[cell] = costs.pop(cell).index(least[cell])
        for other, rows in problem.shared[cell].items():
            if other in costs:
                row = zip(costs[other], rows[chosen[cell]], strict=True)
                costs[other] = [cost + more for cost, more in row]
                least[other] = min(costs[other])
    return chosen


def _mended(problem: _Instance, chosen: dict[str, int]) -> dict[str, int]:
    """Move single cells to a cheaper channel until none gains; each move lowers the total."""
    moved = True
    while moved:
        moved = False
        for cell in problem.cells:
            costs = problem.own[cell]
            for other in problem.shared[cell]:
                rows = problem.shared[other][cell][chosen[other]]
                costs = [cost + more for cost, more in zip(costs, rows, strict=True)]
            best = min(costs)
            if best < costs[chosen[cell]]:
                chosen[cell] = costs.index(best)
                moved = True
    return chosen


def _searched(problem: _Instance, start: dict[str, int]) -> tuple[dict[str, int], bool]:
    """Branch and bound; the bound is what every open cell must pay beside those placed.

    Of cells that could swap channels at no cost, the later takes no earlier option than the one
    before it. Returns the best found and whether that is proven.
    """
    best, best_total, steps = start, _total(problem, start), 0
    twins = _twins(problem)

    def descend(depth: int, chosen: dict[str, int], costs: _Costs, paid: float) -> None:
        nonlocal best, best_total, steps
        if not costs:
            best, best_total = chosen, paid
            return
        cell = problem.cells[depth]
        first = chosen[twins[cell]] if cell in twins else 0
        for cost, option in sorted((cost, i) for i, cost in enumerate(costs[cell]) if i >= first):
            steps += 1
            if steps > EXACT_STEPS:
                return
            rest = problem.beside(costs, cell, option)
            if paid + cost + sum(map(min, rest.values())) < best_total:
                descend(depth + 1, {**chosen, cell: option}, rest, paid + cost)

    descend(0, {}, problem.own, 0.0)
    return best, steps <= EXACT_STEPS


def _twins(problem: _Instance) -> dict[str, str]:
    """Return for cells that could swap places with an earlier one the last such cell."""
    twins = {}
    for i, cell in enumerate(problem.cells):
        for earlier in reversed(problem.cells[:i]):
            one, other = problem.shared[cell], problem.shared[earlier]
            swapped = {cell: earlier, earlier: cell}
            if problem.own[cell] == problem.own[earlier] and all(
                one.get(swapped.get(c, c)) == other.get(c) for c in problem.cells if c != earlier
            ):
                twins[cell] = earlier
                break
    return twins


def _total(problem: _Instance, chosen: Mapping[str, int]) -> float:
    """Return the cost of a whole assignment, each edge counted once."""
    total = 0.0
    placed: set[str] = set()
    for cell in problem.cells:
        total += problem.own[cell][chosen[cell]]
        for other, rows in problem.shared[cell].items():
            if other in placed:
                total += rows[chosen[cell]][chosen[other]]
        placed.add(cell)
    return total
