"""The wall under tone, and area laws with a side of their own for collapse, against published figures.

Tags: [seen] read in the published text, [seen second-hand] quoted elsewhere, [memory, high/medium/low] not looked up,
[computed] mathematics.
"""
import math

import numpy as np
import pytest
from scipy.optimize import brentq

from plant.finger.artery import Artery, fast_share, law_at, static_area, static_compliance

# dynamic over static stiffness E_dyn/E_stat of rat arteries: constricted (noradrenaline), relaxed (papaverine)
QUOTIENTS = {"abdominal aorta": ((1.5, 2.1), (1.2, 1.5)), "carotid": ((2.8, 3.9), (1.3, 1.4)),
             "tail artery": ((8.6, 12.1), (1.5, 1.9))}


@pytest.mark.parametrize(("tone", "low", "high"), [(2.0, 8.6, 12.1), (-0.6, 1.5, 1.9)])
def test_tone_stiffens_the_wall_dynamically_as_a_muscular_artery(tone: float, low: float, high: float) -> None:
    """1/φ is E_dyn/E_stat: 8.6–12.1 constricted, 1.5–1.9 relaxed in the most muscular artery measured, rat tail.

    Busse et al. 1982, Biorheology 19, doi 10.3233/BIR-1982-19303, abstract. [seen; its authors memory, medium]
    """
    assert QUOTIENTS["tail artery"] == ((8.6, 12.1), (1.5, 1.9))
    assert low <= 1.0 / float(fast_share(Artery(), tone)) <= high


def test_resting_tone_lies_between_elastic_and_muscular_arteries() -> None:
    """At rest the default is stiffer than any relaxed artery of Busse et al. 1982, softer than the constricted tail
    artery. [seen]
    """
    at_rest = 1.0 / float(fast_share(Artery(), 0.0))
    assert max(relaxed[1] for _, relaxed in QUOTIENTS.values()) < at_rest < QUOTIENTS["tail artery"][0][0]


# --- published laws with a side of their own for collapse ---------------------------------------------------------


def test_double_exponential_brachial_law_has_the_default_width() -> None:
    """Compliance αβ/(α+β) e^{αs} below its peak, e^{−βs} above, α 0.11, β 0.03 per mmHg (Babbs 2012, BioMed Eng
    OnLine 11:56): half-widths ln 2/α = 6.3 and ln 2/β = 23.1, mean 14.7, ratio 0.27. [seen second-hand]
    """
    below, above = math.log(2.0) / 0.11, math.log(2.0) / 0.03
    assert 0.5 * (below + above) == pytest.approx(Artery().half_width_mmHg, rel=0.03)
    two_widths = Artery(half_width_mmHg=0.5 * (below + above), collapse_ratio=below / above)
    law = law_at(two_widths, 0.0)
    assert (law.below_mmHg, law.above_mmHg) == pytest.approx((below, above), rel=1e-12)
    # within the half-widths the arctangent of those widths and the double exponential are one curve, to a sixth
    for share in np.linspace(-1.0, 1.0, 21):
        side = below if share < 0.0 else above
        ours = static_compliance(two_widths, 5.0 + share * side, 0.0) / static_compliance(two_widths, 5.0, 0.0)
        assert ours == pytest.approx(2.0 ** -abs(share), abs=0.17)


def test_exponential_linear_law_is_steeper_in_collapse() -> None:
    """Peak compliance at y = 1 of y e^{−y}, half of it at y = 0.232 and 2.678: ratio of half-widths 0.46, relative area
    at the peak 1 − 2/e. Form from memory; named the best of eight on 122 patients (PMC9958264, abstract). [computed]
    """
    vessel = Artery(exponential_linear=True)
    peak = static_compliance(vessel, 5.0, 0.0)
    sides = [
        brentq(lambda d, s=s: static_compliance(vessel, 5.0 + s * d, 0.0) - 0.5 * peak, 0.1, 14.0 if s < 0 else 60.0)
        for s in (-1, 1)
    ]
    assert sides[0] / sides[1] == pytest.approx(0.768 / 1.678, rel=1e-3)
    assert sum(sides) / 2.0 == pytest.approx(vessel.half_width_mmHg, rel=1e-3)
    assert static_area(vessel, 5.0, 0.0) == pytest.approx(1.0 - 2.0 / math.e, rel=1e-12)
    assert static_area(vessel, -60.0, 0.0) == 0.0 and static_area(vessel, 400.0, 0.0) == pytest.approx(1.0, abs=1e-9)
