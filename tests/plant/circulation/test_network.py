import numpy as np
import pytest

from plant.circulation.beds import END_SHARES, Beds
from plant.circulation.geometry import ARTERIES
from plant.circulation.line import compliance_m3_Pa, two_port
from plant.circulation.network import (
    PER_mL,
    Scale,
    aortic,
    bed_admittance,
    layout,
    lines_of,
    responses,
)

SCALE, BEDS = Scale(1.0, 1.0, 1.0, 6e4), Beds(0.9, 0.05, 0.8, 1.0)


def test_flow_is_conserved_at_every_node() -> None:
    found = responses(SCALE, BEDS, np.arange(0.0, 30.0, 0.7))
    assert found.balance < 1e-9
    assert found.root[0].imag == 0.0


def test_elimination_gives_what_a_dense_solution_gives() -> None:
    frequency = np.array([0.0, 1.3, 9.0])
    plan, lines = layout(), lines_of(SCALE)
    port = two_port(lines, frequency)
    number = {node: i for i, node in enumerate(sorted({n for ends in plan.ends for n in ends}))}
    matrix = np.zeros((3, len(number), len(number)), complex)
    for k, (a, b) in enumerate(plan.ends):
        for one, other in ((number[a], number[b]), (number[b], number[a])):
            matrix[:, one, one] += port.own[k]
            matrix[:, one, other] += port.across[k]
    for node, admittance in zip(plan.terminals, bed_admittance(lines, BEDS, frequency), strict=True):
        matrix[:, number[node], number[node]] += admittance
    source = np.zeros((3, len(number), 1), complex)
    source[:, number[plan.sites[0]]] = 1.0
    dense = PER_mL * np.linalg.solve(matrix, source)[:, [number[site] for site in plan.sites], 0].T
    found = responses(SCALE, BEDS, frequency)
    for ours, theirs in zip((found.root, found.arm, found.finger), dense, strict=True):
        assert ours == pytest.approx(theirs, rel=1e-9)


def test_pieces_keep_length_and_the_sum_of_shares() -> None:
    plan = layout()
    assert np.bincount(plan.artery, plan.length_share) == pytest.approx(np.ones(len(ARTERIES)))
    assert set(plan.terminals) == set(END_SHARES)
    assert set(plan.order) | set(plan.sites) == {n for ends in plan.ends for n in ends}


def test_slow_changes_fill_arteries_and_beds() -> None:
    """1/Z = 1/R + jωC below every resonance: C of lines and beds together, within the drop along the lines."""
    frequency = 1e-4
    found = responses(SCALE, BEDS, np.array([frequency]))
    arteries = float(np.sum(compliance_m3_Pa(lines_of(SCALE)))) / PER_mL
    y = 1.0 / found.root[0]
    assert y.imag / (2 * np.pi * frequency) == pytest.approx(arteries + 0.07, rel=0.1)
    assert 1.0 / y.real == pytest.approx(0.9, rel=0.06)


def test_a_constricted_hand_reflects_more() -> None:
    frequency = np.array([0.0, 3.0])
    rest, cold = (responses(SCALE, BEDS._replace(hand=h), frequency) for h in (1.0, 3.0))
    assert abs(cold.finger[1]) > 1.05 * abs(rest.finger[1])
    assert cold.finger[0].real > rest.finger[0].real
    assert abs(cold.root[1] / rest.root[1] - 1.0) < 0.05


def test_age_widens_the_aorta_only() -> None:
    wide = lines_of(SCALE._replace(aorta=1.2)).radius_m / lines_of(SCALE).radius_m
    own = np.array([aortic(ARTERIES[i]) for i in layout().artery])
    assert np.all(wide[own] == pytest.approx(1.2)) and np.all(wide[~own] == 1.0) and 10 < own.sum() < 60
