"""A finger in a rig: what it replaces, what it leaves alone, its pressure, and its pulse in the light."""
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from experiments.rigs.rig import load_rig
from experiments.subjects.finger import (
    NO_PULSE,
    PARTS,
    Finger,
    Fit,
    LightPath,
    Vessel,
    Wearer,
    bare_plant,
    best_cuff_mmHg,
    check_finger,
    finger_inputs,
    finger_pressure,
    finger_pulsation,
    on_finger,
    pulsation,
    pulsation_share,
)
from plant.assembly import Plant
from plant.errors import InputError
from plant.finger.artery import Artery, fast_share, static_area
from plant.finger.light import Light
from plant.finger.tone import ToneDrive, tone_samples
from plant.finger.vein import Vein
from plant.operating_point import clamp_point, plant_twin
from plant.pressure.synthetic import SyntheticPressure

ODD = Finger(
    "odd", "own", 7, Wearer(63.0, 0.0), SyntheticPressure(systolic_mmHg=131.0, diastolic_mmHg=72.0),
    Artery(maximal_area=0.8, half_width_mmHg=18.0),
    Vessel(diameter_mm=0.9, outer_speed_m_s=7.0), Vein(filling_s=9.0), ToneDrive(level=0.4),
    LightPath(0.31, 0.02, 0.03, 0.01, 4e-5), Fit(0.96, 0.2),
)
FINGERS_OWN = {  # of a light path; the others are the rig's
    "transmission", "arterial_path_cm", "venous_path_cm", "ambient", "noise",
}


@pytest.mark.parametrize("name", ["wrist", "cabinet"])
def test_a_finger_takes_its_place_in_a_rig_and_nothing_else_moves(name):
    rig = load_rig(name)
    worn = on_finger(rig, ODD)
    assert (worn.plant.artery, worn.plant.vein, worn.tone) == (ODD.artery, ODD.vein, ODD.tone)
    assert worn.plant.segment == rig.plant.segment._replace(diameter_mm=0.9, outer_speed_m_s=7.0)
    assert worn.plant.tissue == rig.plant.tissue._replace(transmission=0.96)
    assert worn.plant.cuff == rig.plant.cuff._replace(volume_mL=rig.plant.cuff.volume_mL * 1.2)
    for key in Light._fields:
        owner = ODD.light if key in FINGERS_OWN else rig.plant.light
        assert getattr(worn.plant.light, key) == getattr(owner, key)
    for key in ("valve", "supply", "air", "tube", "transducer"):
        assert getattr(worn.plant, key) is getattr(rig.plant, key)
    for key in set(rig._fields) - {"plant", "tone"}:
        assert getattr(worn, key) is getattr(rig, key)
    assert [type(part) for part in worn.plant] == [type(part) for part in rig.plant]


def test_the_rigs_own_finger_leaves_it_as_it_is(wrist):
    segment = Vessel(*(getattr(wrist.plant.segment, key) for key in Vessel._fields))
    own = Finger("own", artery=wrist.plant.artery, segment=segment, vein=wrist.plant.vein, tone=wrist.tone,
                 light=LightPath(*(getattr(wrist.plant.light, key) for key in LightPath._fields)),
                 fit=Fit(wrist.plant.tissue.transmission, 0.0))
    assert on_finger(wrist, own) == wrist


@pytest.mark.parametrize(("finger", "said"), [
    (ODD._replace(fit=Fit(0.2)), "finger odd: fit.transmission = 0.2 1 is outside 0.3 … 1"),
    (ODD._replace(artery=Artery(creep_time_s=math.nan)), "finger odd: artery.creep_time_s = nan s is outside"),
    (ODD._replace(pressure=SyntheticPressure(80.0, 78.0)), "pressure.systolic_mmHg = 80 mmHg must be at least 5 mmHg"),
    (ODD._replace(defect="lost"), "defect = 'lost' must be empty or one of no_pulse, light_saturated, loose_cuff"),
    (ODD._replace(seed=-1), "seed = -1 must be from 0 to"),
])
def test_a_finger_out_of_bounds_is_refused(wrist, finger, said):
    for use in (check_finger, lambda f: on_finger(wrist, f), lambda f: finger_pressure(f, 1e-3, 2.0)):
        with pytest.raises(InputError) as refusal:
            use(finger)
        assert said in str(refusal.value) and str(refusal.value).isprintable()


def test_a_bladder_out_of_bounds_names_finger_and_rig(wrist):
    tiny = wrist._replace(plant=wrist.plant._replace(cuff=wrist.plant.cuff._replace(volume_mL=0.06)))
    with pytest.raises(InputError, match=r"finger odd on rig wrist: cuff.volume_mL = 0.042 mL is outside"):
        on_finger(tiny, ODD._replace(fit=Fit(1.0, -0.3)))


def test_pressure_and_tone_come_from_the_fingers_seed(wrist):
    first, again = finger_pressure(ODD, 1e-3, 5.0), finger_pressure(ODD, 1e-3, 5.0)
    other = finger_pressure(ODD._replace(seed=8), 1e-3, 5.0)
    assert np.array_equal(first.pressure_mmHg, again.pressure_mmHg) and first.name == "odd"
    assert not np.array_equal(first.pressure_mmHg, other.pressure_mmHg)
    waving = ODD._replace(tone=ToneDrive(wander=0.1, wave=0.1))
    inputs = finger_inputs(wrist, waving, 5.0)
    assert np.array_equal(inputs.arterial_mmHg, first.pressure_mmHg)
    assert np.array_equal(inputs.tone, tone_samples(waving.tone, 5001, 1e-3, 7))
    assert np.all(inputs.ambient == ODD.light.ambient) and len(inputs.ambient) == 5001


def test_ten_centimetres_up_take_away_7_76_mmHg():
    """ρ g h of 10 cm with ρ = 1055 kg/m³: 7.760 mmHg [computed] (5.2)."""
    level = finger_pressure(ODD, 1e-3, 4.0).pressure_mmHg
    raised = finger_pressure(ODD._replace(wearer=Wearer(height_m=0.1)), 1e-3, 4.0).pressure_mmHg
    assert level - raised == pytest.approx(np.full(len(level), 7.760), abs=1e-3)


@given(st.integers(0, 2**63 - 1))
@settings(max_examples=20)
def test_without_a_pulse_pressure_is_constant_and_low(seed):
    """10–30 mmHg are left in an artery without flow: from memory."""
    pressure = finger_pressure(ODD._replace(seed=seed, defect=NO_PULSE), 5e-3, 3.0).pressure_mmHg
    assert np.ptp(pressure) == 0.0 and 10.0 <= pressure[0] <= 30.0


def test_the_default_finger_pulsates_as_published():
    """AC/DC 0.1–20 % in finger light without counterpressure, mostly 0.5–5 % [memory] (2.6); less when constricted."""
    share = pulsation_share(Plant(), 120.0, 75.0, cuff_mmHg=0.0)
    assert 0.002 < share < 0.05
    assert pulsation_share(Plant(), 120.0, 75.0, tone=2.0, cuff_mmHg=0.0) < 0.3 * share
    assert pulsation_share(Plant(), 120.0, 75.0) > 5.0 * share  # what unloading is good for


arteries = st.tuples(st.floats(0.4, 2.0), st.floats(-5.0, 15.0), st.floats(7.0, 30.0), st.floats(0.4, 1.0)).map(
    lambda drawn: Artery(*drawn)
)
tones = st.floats(-1.0, 2.0)


@given(arteries, tones, st.floats(60.0, 120.0), st.floats(20.0, 90.0), st.floats(0.7, 1.0))
def test_no_other_cuff_pressure_makes_the_artery_swing_more(artery, tone, diastolic, pulse, transmission):
    plant = Plant(artery=artery, tissue=Plant().tissue._replace(transmission=transmission))

    def swing(cuff):
        high, low = (static_area(artery, p - transmission * cuff, tone) for p in (diastolic + pulse, diastolic))
        return high - low

    best = swing(best_cuff_mmHg(plant, diastolic + pulse, diastolic, tone))
    assert max(swing(cuff) for cuff in np.linspace(0.0, 300.0, 61)) <= best * (1.0 + 1e-9)


@given(arteries, tones, st.floats(0.1, 3.0))
def test_pulsation_share_does_not_care_for_the_lamp(artery, tone, factor):
    """A stronger emitter leaves AC/DC as it was when there is no other light [memory, high] (2.4)."""
    dim = Plant(artery=artery, light=Light(transmission=0.2, ambient=0.0))
    bright = dim._replace(light=Light(transmission=0.2, ambient=0.0, emitter=factor))
    assert pulsation_share(bright, 120.0, 80.0, tone) == pytest.approx(pulsation_share(dim, 120.0, 80.0, tone))
    lit = dim._replace(light=Light(transmission=0.2, ambient=0.1))
    assert pulsation_share(lit, 120.0, 80.0, tone) < pulsation_share(dim, 120.0, 80.0, tone)


@given(st.floats(0.001, 0.05), tones)
def test_a_thin_artery_pulsates_in_proportion_to_its_path(path, tone):
    """ΔI/I = −μ_a l Δa to first order, Beer–Lambert [memory, high] (2.4)."""
    plant = Plant(light=Light(arterial_path_cm=path, ambient=0.0))
    seen = pulsation(plant, 120.0, 80.0, tone)
    external = plant.tissue.transmission * seen.cuff_mmHg
    swing = static_area(plant.artery, 120.0 - external, tone) - static_area(plant.artery, 80.0 - external, tone)
    expected = 6.171 * path * fast_share(plant.artery, tone) * swing
    assert seen.share == pytest.approx(expected, rel=0.001 + expected**2 / 10.0)


def test_slope_of_the_light_is_that_of_the_clamp_and_of_its_twin(wrist):
    worn = on_finger(wrist, ODD)
    point = clamp_point(worn.plant, 100.0, ODD.tone.level)
    seen = pulsation(worn.plant, 131.0, 72.0, ODD.tone.level)
    # veins under the two cuff pressures differ a little
    assert seen.light_slope == pytest.approx(point.light_slope, rel=2e-3)
    assert finger_pulsation(ODD).light_slope == pytest.approx(seen.light_slope, rel=1e-12)
    middle = clamp_point(worn.plant, 0.5 * (131.0 + 72.0), ODD.tone.level)
    assert middle.state.cuff_mmHg == pytest.approx(seen.cuff_mmHg, rel=1e-12)
    twin = plant_twin(worn.plant, middle)
    s = 2j * math.pi * 8.0  # above the creeping wall and the veins, below all filters
    states = np.linalg.solve(s * np.eye(len(twin.a)) - twin.a, twin.b[:, [twin.inputs.index("command")]])
    light, cuff = (complex((twin.c @ states)[twin.outputs.index(k), 0]) for k in ("light", "cuff_pressure"))
    assert abs(light / cuff) == pytest.approx(seen.light_slope, rel=0.02)


def test_noise_in_terms_of_pressure():
    seen = finger_pulsation(ODD)
    step = 2.0**-16
    assert seen.noise_mmHg * seen.light_slope == pytest.approx(math.sqrt(4e-5**2 + step**2 / 12.0))
    blind = pulsation(bare_plant(ODD)._replace(light=Light(arterial_absorption_per_cm=0.0)), 120.0, 80.0)
    assert blind.share == 0.0 and blind.noise_mmHg == math.inf


def test_every_part_of_a_finger_is_listed():
    assert set(Finger._fields) == {"name", "group", "seed", *PARTS, "defect"}
    for name, kind in PARTS.items():
        assert type(getattr(ODD, name)) is kind
