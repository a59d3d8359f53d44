"""Axes as people write them: values, ranges, words, refusals in one line, and the points they span."""
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from experiments.design.sweep.axes import Axis, grid_points, own_finger, parse_axes, sample_points
from experiments.rigs.rig import load_rig, read_rig
from experiments.rigs.table import rig_parts
from experiments.subjects.finger import on_finger
from plant.declare import declared
from plant.errors import InputError

WRIST, CABINET = read_rig("wrist"), read_rig("cabinet")


def one(text, source=WRIST, population=False):
    return parse_axes([text], source, population)[0]


def test_a_range_a_ratio_a_list():
    axis = one("controller.kp=0.002:0.02:10")
    np.testing.assert_allclose(axis.values, np.linspace(0.002, 0.02, 10), rtol=1e-6)
    assert axis.unit == "1/mmHg" and axis.label == "controller.kp (1/mmHg)"
    assert axis.present == load_rig("wrist").controller.kp
    ratios = np.array(one("controller.kp=0.002:0.02:11:log").values)
    np.testing.assert_allclose(ratios[1:] / ratios[:-1], 10**0.1, rtol=1e-5)
    assert ratios[0] == 0.002 and ratios[-1] == pytest.approx(0.02, rel=1e-15)
    assert one("tube.length_m=0,0.3, 1.2").values == (0.0, 0.3, 1.2)
    assert len(one("controller.kp=0.002:0.02").values) == 21
    assert one("timing.dead_time_s=1e-3").values == (0.001,)


def test_words_and_whole_numbers():
    assert one("actuator.kind=direct,flow_inverse").values == ("direct", "flow_inverse")
    assert one("actuator.kind=direct").present == "flow_inverse" and one("actuator.kind=direct").words
    assert one("controller.method=tustin,matched").values == ("tustin", "matched")
    assert one("transducer.at_valve_end=false,true").values == (False, True)
    assert one("light.bits=8:16:9").values == tuple(range(8, 17)) and one("light.bits=8:10:9").values == (8, 9, 10)
    assert not one("light.bits=8,10").words


def test_a_finger_s_own():
    axis = one("finger.artery.half_width_mmHg=8:30:5")
    assert axis.unit == "mmHg" and axis.present == load_rig("wrist").plant.artery.half_width_mmHg
    assert one("finger.artery.half_width_mmHg=8:30:5", population=True).present is None
    assert one("finger.fit.slack=0,0.1").present == 0.0


@pytest.mark.parametrize("name", ["wrist", "cabinet"])
def test_a_rig_on_its_own_finger_is_itself(name):
    rig = load_rig(name)
    assert rig_parts(on_finger(rig, own_finger(rig))) == rig_parts(rig)


def test_a_key_of_another_kind():
    """Known when the kind is swept too, and not otherwise."""
    with pytest.raises(InputError, match="is not a key of this rig"):
        one("valve.range_mmHg=200,300")
    axes = parse_axes(["valve.kind=flow,pressure", "valve.range_mmHg=200,300"], WRIST)
    assert axes[1].unit == "mmHg" and axes[1].present is None


@pytest.mark.parametrize(("text", "words"), [
    ("controller.kp=-1:4:40", ("controller.kp", "-1", "0 to 100", "1/mmHg")),
    ("controller.kp=0:400:40", ("controller.kp", "0 to 100")),
    ("controller.kp=0.1,200", ("controller.kp = 200", "0 to 100")),
    ("controller.kp=4:0.2:40", ("LOW = 4", "HIGH = 0.2")),
    ("controller.kp=1:1:4", ("LOW = 1", "HIGH = 1")),
    ("controller.kp=0:4:40:log", ("LOW = 0", "above 0")),
    ("controller.kp=1:4:1", ("COUNT = 1", "2 to 10000")),
    ("controller.kp=1:4:99999", ("COUNT = 99999",)),
    ("controller.kp=1:4:3.5", ("COUNT", "'3.5'", "whole number")),
    ("controller.kp=1:4:5:6", ("LOW:HIGH:COUNT",)),
    ("controller.kp=1:4:5:lin", ("LOW:HIGH:COUNT",)),
    ("controller.kp=a,b", ("controller.kp = 'a'", "a number")),
    ("controller.kp=nan", ("nan", "finite")),
    ("controller.kp=1:inf:3", ("inf", "finite")),
    ("controller.kp=1,1", ("twice",)),
    ("controller.kp=", ("LOW:HIGH:COUNT",)),
    ("controller.kp", ("LOW:HIGH:COUNT",)),
    ("kp=1,2", ("LOW:HIGH:COUNT",)),
    ("controller.kpp=1,2", ("controller.kpp", "kp, ti_s")),
    ("motor.kp=1,2", ("motor", "controller")),
    ("name.x=1,2", ("name is not a table",)),
    ("actuator.kind=direct,inverse", ("'inverse'", "direct, flow_inverse")),
    ("controller.method=tustin,zoh", ("'zoh'", "tustin")),
    ("transducer.at_valve_end=yes", ("'yes'", "true, false")),
    ("light.bits=8.5,9", ("'8.5'", "whole number")),
    ("light.bits=99,100", ("light.bits = 99",)),
    ("tube.length_m=0,100", ("tube.length_m = 100", "0.01 to 10 m")),
    ("finger.kp=1,2", ("finger.kp", "finger.PART.KEY")),
    ("finger.artery.half_width_mmHg=0,10", ("half_width_mmHg", "2 to 80")),
    ("\x1b[2Jcontroller.kp=1,2", ("is not a table",)),
])
def test_a_bad_axis_is_one_line(text, words):
    with pytest.raises(InputError) as refused:
        one(text)
    line = str(refused.value)
    assert line.isprintable() and len(line) < 1000 and line.startswith("axis ")
    assert all(word in line for word in words), line


def test_what_belongs_to_each_finger():
    for text, instead in (("artery.half_width_mmHg=10,20", "finger.artery.half_width_mmHg"),
                          ("light.transmission=0.1,0.2", "finger.light.transmission"),
                          ("tissue.transmission=0.9,1", "finger.fit.transmission"), ("tone.level=0,1", "finger.tone")):
        assert one(text)
        with pytest.raises(InputError, match=instead):
            one(text, population=True)
    assert one("light.bandwidth_Hz=300,700", population=True)


def test_no_axis_and_one_twice():
    with pytest.raises(InputError, match="needs an axis"):
        parse_axes([], WRIST)
    with pytest.raises(InputError, match=r"controller\.kp is given twice"):
        parse_axes(["controller.kp=1,2", "controller.kp=3,4"], WRIST)


def test_a_grid_in_order():
    axes = parse_axes(["controller.kp=1,2", "tube.length_m=0.1,0.2,0.3"], WRIST)
    assert grid_points(axes) == [(1, 0.1), (1, 0.2), (1, 0.3), (2, 0.1), (2, 0.2), (2, 0.3)]
    with pytest.raises(InputError, match="1000001000 points"):
        grid_points([Axis("a", "", "", tuple(range(1000001))), Axis("b", "", "", tuple(range(1000)))])


@given(st.integers(1, 300), st.integers(0, 1000))
def test_samples_lie_in_their_ranges_and_grow_at_the_end(count, seed):
    axes = parse_axes(["controller.kp=0.001:0.1:log", "light.bits=8:16", "actuator.kind=direct,flow_inverse",
                       "timing.dead_time_s=0:0.002"], CABINET)
    points = sample_points(axes, count, seed)
    assert len(points) == count and points == sample_points(axes, 2 * count, seed)[:count]
    for kp, bits, kind, dead in points:
        assert 0.001 <= kp <= 0.1 and bits in range(8, 17) and 0.0 <= dead <= 0.002
        assert kind in ("direct", "flow_inverse") and isinstance(bits, int)


def test_samples_are_even():
    """128 Sobol points: one in each of 128 equal shares of every axis; ratios are even in the logarithm."""
    axes = parse_axes(["controller.kp=0.001:0.1:log", "timing.dead_time_s=0:0.002"], WRIST)
    kp, dead = np.array(sample_points(axes, 128, 3)).T
    shares = np.log(kp / 0.001) / math.log(100.0), dead / 0.002
    for share in shares:
        assert sorted(np.minimum(share * 128, 127).astype(int)) == list(range(128))


@pytest.mark.parametrize("count", [0, -3, 1_000_001])
def test_sample_counts(count):
    with pytest.raises(InputError, match=f"--sample {count}"):
        sample_points([one("controller.kp=1,2")], count, 1)


def test_every_parameter_of_a_rig_can_be_swept():
    """Each number of each table, at its own bounds."""
    for source in (WRIST, CABINET):
        for table, part in rig_parts(source.rig()).items():
            for p in declared(type(part)):
                if p.low is not None and p.low < p.high:
                    axis = one(f"{table}.{p.name}={p.low!r}:{p.high!r}:3", source)
                    assert axis.values[0] == p.low and axis.values[-1] == p.high and axis.unit == p.unit
