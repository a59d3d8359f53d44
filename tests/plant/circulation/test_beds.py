import pytest

from plant.circulation.beds import ARM_ENDS, END_SHARES, HAND_ENDS, HAND_REGION, REGIONS
from plant.circulation.geometry import ARTERIES, LEFT_HAND


def test_every_end_has_its_share_and_they_make_the_whole() -> None:
    inlets = {a.inlet for a in ARTERIES}
    assert set(END_SHARES) == {a.outlet for a in ARTERIES} - inlets
    assert sum(END_SHARES.values()) == pytest.approx(1.0, abs=1e-12)
    assert all(share > 0 for share in END_SHARES.values())


def test_the_hand_is_the_cuffed_one() -> None:
    assert set(REGIONS[HAND_REGION][1]) <= set(LEFT_HAND)
    assert len(HAND_ENDS) == 4 and HAND_ENDS < ARM_ENDS and len(ARM_ENDS) == 10
