from collections import Counter

from plant.circulation.geometry import ARTERIES, LEFT_BRACHIAL, LEFT_FINGER, LEFT_HAND, ROOT


def test_every_artery_hangs_on_the_heart() -> None:
    assert [a.number for a in ARTERIES] == list(range(1, 117))
    reached = {ROOT}
    for _ in ARTERIES:
        reached |= {n for a in ARTERIES if a.inlet in reached or a.outlet in reached for n in (a.inlet, a.outlet)}
    assert reached == {n for a in ARTERIES for n in (a.inlet, a.outlet)}


def test_sizes_are_those_of_arteries_in_metres() -> None:
    assert all(0.002 < a.length_m < 0.5 and 2e-4 < a.outlet_radius_m <= a.inlet_radius_m < 0.02 for a in ARTERIES)
    assert ARTERIES[LEFT_BRACHIAL - 1].name == "Left brachial artery"
    assert ARTERIES[LEFT_FINGER - 1].name == "Left digital artery III" and LEFT_FINGER in LEFT_HAND


def test_left_and_right_arm_are_alike_beyond_the_elbow() -> None:
    size = Counter((a.length_m, a.inlet_radius_m, a.name.split(maxsplit=1)[1]) for a in ARTERIES[96:])
    assert set(size.values()) == {2}
