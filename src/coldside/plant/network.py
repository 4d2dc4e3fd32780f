"""Flows in a network of strictly rising losses: loops, duct air and parallel charge pipes alike.

What is here: `Network` (nodes and links built from a path) and `solve`, the global gradient method,
for many operating points at once.  What is not: what a link loses (functions of `parts/`), and when
it is asked (`plant/flows.py`).

Source: Todini and Pilati's global gradient algorithm as given in the EPANET 2.2 User Manual,
chapter 12 (seen in the design notes); batching over operating points is our own.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from coldside.build.model import Parallel, Path
from coldside.errors import NoAnswer

# loss [Pa] and slope [Pa s/m3 or Pa s/kg] of a link at flow q, for every operating point at once
LinkLoss = Callable[[np.ndarray], tuple[np.ndarray, np.ndarray]]

MOST_ITERATIONS = 200
FLOW_TOLERANCE = 1e-9  # of the flow scale: far under what a temperature could feel, above round-off of the heads


@dataclass(frozen=True)
class Link:
    """One part between two nodes; flow is positive from `start` to `end`."""

    name: str
    start: int
    end: int


@dataclass(frozen=True)
class Network:
    """Nodes 0..nodes-1 and the links between them, in walk order of the path they come from.

    Of an open path (charge, duct) node 0 is its inlet and `outlet` its exit; of a loop both are node 0.
    """

    links: tuple[Link, ...]
    nodes: int
    outlet: int

    @property
    def names(self) -> tuple[str, ...]:
        """Part names in link order."""
        return tuple(link.name for link in self.links)


def network_of(path: Path, *, closed: bool) -> Network:
    """Nodes and links of a path; each list level is a splitter and a mixer node.

    `closed` joins the path's end to its start (a loop).
    """
    links: list[Link] = []
    nodes = 1

    def new_node() -> int:
        nonlocal nodes
        nodes += 1
        return nodes - 1

    def walk(items: Path, start: int, end: int | None) -> int:
        """Thread `items` from node `start`; the last one ends at `end`, or at a new node."""
        here = start
        for position, item in enumerate(items):
            last = position == len(items) - 1
            there = end if last and end is not None else new_node()
            if isinstance(item, Parallel):
                for branch in item.branches:
                    walk(branch, here, there)
            else:
                links.append(Link(item, here, there))
            here = there
        return here

    outlet = walk(path, 0, 0 if closed else None)
    return Network(tuple(links), nodes, outlet)


def solve(
    network: Network,
    losses: list[LinkLoss],
    points: int,
    scale: float,
    drive: LinkLoss | None = None,
    through: np.ndarray | None = None,
) -> np.ndarray:
    """Flow in every link at every operating point; shape (points, links).

    Parameters
    ----------
    losses : one strictly rising function a link; it takes and returns arrays of `points` elements.
    scale : order of magnitude of the flow, for the first guess and the stopping rule (same unit).
    drive : loss of an extra link that closes an open path from outlet to inlet (ram pressure counts
        as a negative loss); None for a loop.
    through : instead of `drive`, the flow forced through an open path, array of `points`.

    Raises `NoAnswer` when the flows do not settle.
    """
    functions = [*losses, *([] if drive is None else [drive])]
    incidence = _incidence(network, drive is not None)
    in_a_row = through is None and _in_a_row(incidence)
    A = incidence[1:]  # node 0 carries the reference head
    outflow = np.zeros((points, network.nodes))
    if through is not None:
        outflow[:, 0] += through  # a flow that enters node 0 must leave it through the links
        outflow[:, network.outlet] -= through
    q = np.full((points, len(functions)), 0.5 * scale)
    previous = np.full(points, np.inf)
    damping = np.ones(points)
    for _ in range(MOST_ITERATIONS):
        h = np.empty_like(q)
        g = np.empty_like(q)
        for k, function in enumerate(functions):
            h[:, k], g[:, k] = function(q[:, k])
        if in_a_row:  # one flow, at which losses and rises cancel: the same step without its matrices
            step = np.repeat(-(h.sum(axis=1) / g.sum(axis=1))[:, None], len(functions), axis=1)
        else:
            step = _step(q, h, g, A, outflow[:, 1:])
        size = np.abs(step).max(axis=1)
        damping = np.where(
            size > (1.0 - 0.1 * damping) * previous, np.maximum(0.5 * damping, 0.05), np.minimum(1.0, 1.5 * damping)
        )
        previous = size
        q = q + damping[:, None] * step
        if size.max() <= FLOW_TOLERANCE * scale:
            return q[:, : len(network.links)]
    worst = int(np.argmax(previous))
    stuck = network.names[int(np.argmax(np.abs(step[worst, : len(network.links)])))]
    raise NoAnswer(
        f"the flows do not settle; {stuck} is the part that keeps changing "
        f"(off by {previous[worst] / scale:.1e} of the flow)"
    )


def _incidence(network: Network, driven: bool) -> np.ndarray:
    """(nodes, links) 1 where a link starts, -1 where it ends; `driven` adds the link from outlet to inlet."""
    ends = [(link.start, link.end) for link in network.links] + ([(network.outlet, 0)] if driven else [])
    found = np.zeros((network.nodes, len(ends)))
    for k, (start, end) in enumerate(ends):
        found[start, k] += 1.0
        found[end, k] -= 1.0
    return found


def _in_a_row(incidence: np.ndarray) -> bool:
    """Whether all links stand in one ring, each node with one that comes and one that goes."""
    nodes, links = incidence.shape
    one_in_one_out = (np.abs(incidence).sum(axis=1) == 2.0) & (incidence.sum(axis=1) == 0.0)
    return nodes == links > 1 and bool(one_in_one_out.all())


def _step(q: np.ndarray, h: np.ndarray, g: np.ndarray, A: np.ndarray, outflow: np.ndarray) -> np.ndarray:
    """How far the flows move in one turn of the method; without free nodes every link is closed on itself."""
    y = q - h / g
    if len(A) == 0:
        return y - q
    matrix = np.einsum("ik,pk,jk->pij", A, 1.0 / g, A)
    right = outflow - y @ A.T
    heads = np.linalg.solve(matrix, right[..., None])[..., 0]
    return np.asarray(y + (heads @ A) / g - q)
