"""The arteries as a network: pressures at a few nodes for a flow into the root, at each frequency.

Every piece of artery is a two-port, every end a bed: Z_c in series with R ∥ C. Nodes are eliminated one by one, fewest
neighbours first (Kron reduction; exact, loops of the hand and of the base of the brain included), until root, upper arm
and finger are left. Linear: the flow into the root is the only source, and the outflow pressure is added afterwards.
"""
from __future__ import annotations

import math
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from plant.circulation.beds import ARM_ENDS, END_SHARES, HAND_ENDS, Beds
from plant.circulation.geometry import ARTERIES, LEFT_BRACHIAL, LEFT_FINGER, ROOT, Artery
from plant.circulation.line import (
    Complex,
    Lines,
    Samples,
    TwoPort,
    characteristic_Pa_s_m3,
    stiffness_Pa,
    two_port,
    wall_kg_s,
)
from plant.units import PASCAL_PER_MMHG

PIECE_m = 0.05  # longest piece of even radius
ARM_PIECES, ARM_NODE = 8, 7  # the upper arm's pressure is that near the elbow, at the lower edge of an arm cuff
PER_mL = 1e-6 / PASCAL_PER_MMHG  # m³/Pa in one mL/mmHg
SITES = ("root", "arm", "finger")


class Layout(NamedTuple):
    """How the pieces hang together; the same for everybody."""

    artery: tuple[int, ...]  # index into ARTERIES of each piece
    share: Samples  # of that artery's length at the middle of the piece
    length_share: Samples  # of that artery's length
    ends: tuple[tuple[int, int], ...]  # nodes of each piece
    terminals: tuple[int, ...]  # nodes with a bed
    feeding: tuple[int, ...]  # the last piece before each of them
    sites: tuple[int, ...]  # nodes of SITES
    order: tuple[int, ...]  # in which all others are eliminated


class Scale(NamedTuple):
    """How a person's arteries differ from the table's."""

    length: float  # factor on all lengths
    radius: float  # factor on all radii
    aorta: float  # factor on the radii of aorta and iliac arteries besides
    large_Pa: float  # stiffness E h/r of a very large artery


class Responses(NamedTuple):
    """Pressure over flow into the root at frequencies, complex, shape (frequencies,) [mmHg s/mL]."""

    frequency_Hz: Samples
    root: Complex
    arm: Complex
    finger: Complex
    balance: float  # largest |flow in − flow out − flow stored| over flow in


@lru_cache(maxsize=1)
def layout() -> Layout:
    """Pieces, nodes, ends, and the order of elimination."""
    artery, share, length_share, ends, sites = [], [], [], [], {"root": ROOT}
    last, free = dict[int, int](), 1000  # node: the last piece before it
    for index, one in enumerate(ARTERIES):
        count = ARM_PIECES if one.number in (7, LEFT_BRACHIAL) else max(1, int(np.ceil(one.length_m / PIECE_m - 1e-9)))
        nodes = [one.inlet, *range(free, free + count - 1), one.outlet]
        free += count - 1
        if one.number == LEFT_BRACHIAL:
            sites["arm"] = nodes[ARM_NODE]
        if one.number == LEFT_FINGER:
            sites["finger"] = one.outlet
        for k in range(count):
            artery.append(index)
            share.append((k + 0.5) / count)
            length_share.append(1.0 / count)
            ends.append((nodes[k], nodes[k + 1]))
        last[one.outlet] = len(ends) - 1
    inlets = {one.inlet for one in ARTERIES}
    terminals = tuple(sorted(node for node in last if node not in inlets))
    kept = tuple(sites[name] for name in SITES)
    return Layout(tuple(artery), np.array(share), np.array(length_share), tuple(ends), terminals,
                  tuple(last[node] for node in terminals), kept, _order(ends, set(kept)))


def _order(ends: list[tuple[int, int]], kept: set[int]) -> tuple[int, ...]:
    """Fewest neighbours first."""
    beside: dict[int, set[int]] = {}
    for a, b in ends:
        beside.setdefault(a, set()).add(b)
        beside.setdefault(b, set()).add(a)
    order = []
    while len(beside) > len(kept):
        node = min((n for n in beside if n not in kept), key=lambda n: (len(beside[n]), n))
        around = beside.pop(node)
        for other in around:
            beside[other] = (beside[other] | around) - {node, other}
        order.append(node)
    return tuple(order)


def aortic(artery: Artery) -> bool:
    """Whether age widens it: the aorta and what leads on from it to the legs."""
    return "aort" in artery.name.lower() or "iliac" in artery.name.lower()


@lru_cache(maxsize=32)
def lines_of(scale: Scale) -> Lines:
    """The pieces of a person's arteries; not to be changed in place."""
    plan = layout()
    wide = np.array([a.inlet_radius_m for a in ARTERIES])[list(plan.artery)]
    narrow = np.array([a.outlet_radius_m for a in ARTERIES])[list(plan.artery)]
    own = np.array([scale.aorta if aortic(a) else 1.0 for a in ARTERIES])[list(plan.artery)]
    radius = (wide + (narrow - wide) * plan.share) * own * scale.radius
    length = np.array([a.length_m for a in ARTERIES])[list(plan.artery)] * plan.length_share * scale.length
    return Lines(length, radius, stiffness_Pa(radius, scale.large_Pa), wall_kg_s(radius))


def bed_admittance(lines: Lines, beds: Beds, frequency_Hz: Samples) -> Complex:
    """Admittance of every terminal [m³/(Pa s)], shape (terminals, frequencies)."""
    plan = layout()
    matched = characteristic_Pa_s_m3(lines)[list(plan.feeding)]
    shares = np.array([END_SHARES[node] for node in plan.terminals])
    hand = np.array([beds.hand if node in HAND_ENDS else 1.0 for node in plan.terminals])
    resistance = beds.resistance_mmHg_s_mL * hand / shares / PER_mL
    small = np.minimum(matched, 0.5 * resistance)
    parallel = resistance - small
    omega = 2.0 * np.pi * frequency_Hz[None, :]
    time = np.array([beds.arm_time_s if node in ARM_ENDS else beds.time_s for node in plan.terminals])
    store = time / resistance  # C: what constriction narrows holds less
    below = parallel[:, None] / (1.0 + 1j * omega * parallel[:, None] * store[:, None])
    return np.asarray(1.0 / (small[:, None] + below))


def responses(scale: Scale, beds: Beds, frequency_Hz: Samples, checked: bool = True) -> Responses:
    """Pressure at root, upper arm and finger by flow into the root, at frequencies [Hz] from 0 on.

    `checked`: work out the flows at all nodes, too, for `balance`; else it is nan.
    """
    return all_responses([(scale, beds, frequency_Hz)], checked)[0]


def all_responses(asked: list[tuple[Scale, Beds, Samples]], checked: bool = True) -> list[Responses]:
    """The same of several circulations at once, which takes little longer than of one."""
    lines = [lines_of(scale) for scale, _, _ in asked]
    ports = [two_port(own, one[2]) for own, one in zip(lines, asked, strict=True)]
    port = TwoPort(*(np.concatenate(fields, axis=1) for fields in zip(*ports, strict=True)))
    ends = np.concatenate([bed_admittance(own, *one[1:]) for own, one in zip(lines, asked, strict=True)], axis=1)
    pressures = _eliminated(port, ends, checked)
    balance = _balance(port, ends, pressures) if checked else np.full(ends.shape[1], math.nan)
    cuts = np.cumsum([len(one[2]) for one in asked])[:-1]
    columns = [np.split(values, cuts) for values in (*(PER_mL * pressures[site] for site in layout().sites), balance)]
    return [Responses(one[2], root, arm, finger, float(np.max(left)))
            for one, root, arm, finger, left in zip(asked, *columns, strict=True)]


def _eliminated(port: TwoPort, ends: Complex, everywhere: bool) -> dict[int, Complex]:
    """Pressures [Pa] for one m³/s into the root: at the sites, and at all other nodes if they are wanted."""
    plan = layout()
    matrix: dict[int, dict[int, Complex]] = {}
    for k, (a, b) in enumerate(plan.ends):
        for one, other in ((a, b), (b, a)):
            row = matrix.setdefault(one, {})
            row[one] = row.get(one, 0.0) + port.own[k]
            row[other] = row.get(other, 0.0) + port.across[k]
    for node, admittance in zip(plan.terminals, ends, strict=True):
        matrix[node][node] = matrix[node][node] + admittance
    removed = []
    for node in plan.order:
        row = matrix.pop(node)
        pivot = row.pop(node)
        weights = {other: value / pivot for other, value in row.items()}
        removed.append((node, weights))
        for one, weight in weights.items():
            target = matrix[one]
            del target[node]
            for other, value in row.items():
                target[other] = target.get(other, 0.0) - weight * value
    pressures = dict(zip(plan.sites, _solve(matrix, plan.sites), strict=True))
    for node, weights in reversed(removed) if everywhere else ():
        lost = np.zeros(ends.shape[1], complex)
        for other, weight in weights.items():
            lost -= weight * pressures[other]
        pressures[node] = lost
    return pressures


def _solve(matrix: dict[int, dict[int, Complex]], sites: tuple[int, ...]) -> list[Complex]:
    """Pressures at the sites [Pa] for one m³/s into the first of them."""
    count = len(next(iter(matrix.values()))[sites[0]])
    full = np.zeros((count, len(sites), len(sites)), complex)
    for i, a in enumerate(sites):
        for j, b in enumerate(sites):
            full[:, i, j] = matrix[a].get(b, 0.0)
    source = np.zeros((count, len(sites), 1), complex)
    source[:, 0] = 1.0
    return list(np.linalg.solve(full, source)[:, :, 0].T)


def _balance(port: TwoPort, ends: Complex, pressures: dict[int, Complex]) -> Samples:
    """Flow into all pieces and beds at every node, which must add up to the source: its largest misfit by frequency."""
    plan = layout()
    flow: dict[int, Complex] = {}
    for k, (a, b) in enumerate(plan.ends):
        flow[a] = flow.get(a, 0.0) + port.own[k] * pressures[a] + port.across[k] * pressures[b]
        flow[b] = flow.get(b, 0.0) + port.own[k] * pressures[b] + port.across[k] * pressures[a]
    for node, admittance in zip(plan.terminals, ends, strict=True):
        flow[node] = flow[node] + admittance * pressures[node]
    flow[plan.sites[0]] = flow[plan.sites[0]] - 1.0
    return np.asarray(np.max([np.abs(value) for value in flow.values()], axis=0))
