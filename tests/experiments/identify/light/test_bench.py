"""Light's numbers found again with intervals; what the model lacks is told; bad recordings are one line."""
import numpy as np
import pytest

from experiments.identify.fit.suspects import suspects
from experiments.identify.light.bench import (
    LightBench,
    by_gauge,
    driven_by,
    prepared,
    smoothed,
)
from experiments.rigs.rig import load_rig
from plant.errors import InputError
from tests.experiments.identify.light.lit import TRUE, identified, recorded


def test_numbers_are_found_again():
    """Within four standard uncertainties, told, and a hundredth of a percent of what they are; noise is all that is
    left."""
    found = identified()
    assert found.fits and found.all_told and found.offset_mmHg == 0.0
    for one in found.found:
        assert abs(one.value - TRUE[one.free.name]) < 4.0 * one.sd < 4e-3 * TRUE[one.free.name], one.free.name


@pytest.mark.slow
def test_a_wrong_model_is_told():
    """Light that diffuses: not explained, and named as what would take most of it away."""
    found = identified("light.diffuse_depth=3")
    assert not found.fits
    ratio = max(left.ratio for left in found.leftovers)
    first = suspects(found.problem, found.solution.x, ratio)[0]
    assert first.name == "light.diffuse_depth" and first.share > 0.3


def test_noise_of_the_reference_counts_as_noise_of_the_light():
    """By the square: twice the gauge's noise adds twice as much; none adds none."""
    bench = LightBench(load_rig("wrist"))
    ramp = prepared(bench, recorded())[1]
    adds = by_gauge(bench, ramp)
    assert 1e-6 < adds < 2e-5 and ramp.noise["light"] == pytest.approx(np.hypot(2e-5, adds))
    assert by_gauge(bench, ramp._replace(noise=ramp.noise | {"arterial_mmHg": 0.04})) == pytest.approx(2.0 * adds, 0.01)


def test_rest_is_for_its_pressures_only():
    bench = LightBench(load_rig("wrist"))
    ramp = prepared(bench, recorded())[1]
    arterial, cuff, lost = driven_by(ramp)
    assert len(arterial) == len(cuff) == lost + len(ramp.command) == lost + len(ramp.channels["light"])
    assert lost * ramp.period_s > 30.0 and abs(np.mean(cuff[:lost])) < 0.1


def test_smoothing_keeps_a_parabola_and_quiets_noise():
    time = np.linspace(0.0, 1.0, 200)
    assert np.allclose(smoothed(3.0 * time**2 + time, 9.0), 3.0 * time**2 + time)
    noise = np.random.default_rng(1).standard_normal(4000)
    assert np.std(smoothed(noise, 9.0)) < 0.6 * np.std(noise) and np.array_equal(smoothed(noise, 2.0), noise)


def test_what_cannot_be_used_is_one_line():
    bench = LightBench(load_rig("wrist"))
    lamp, ramp = recorded()
    dark = {name: values for name, values in ramp.channels.items() if name != "arterial_mmHg"}
    early = ramp.command.copy()
    early[1000:] = np.maximum(early[1000:], 0.01)
    for bad, says in ((lamp._replace(played="step"), "is not of light"), (lamp._replace(channels={}), "column light"),
                      (ramp._replace(channels=dark), "column arterial_mmHg"),
                      (ramp._replace(command=early), "2 s of rest")):
        with pytest.raises(InputError, match=says):
            prepared(bench, [bad])
