"""What recordings cannot tell apart by their kind, and what would tell it."""
import numpy as np
import pytest

from experiments.identify.fit.structure import LAGS, confounded, lags_in_series
from experiments.identify.recording.recording import Recording
from experiments.rigs.rig import load_rig


def recording(*channels, played="step"):
    return Recording("a", played, 1e-3, np.zeros(3), dict.fromkeys(channels, np.zeros(3)), {})


@pytest.mark.parametrize(("free", "cured"), [
    ({"cuff.volume_mL", "valve.conductance"}, recording("reading_mmHg", "flow_mL_s")),
    ({"valve.conductance", "supply.pressure_mmHg"}, recording("reading_mmHg", "supply_mmHg")),
    ({"cuff.leak_mL_s_mmHg", "valve.bleed_conductance"}, recording("reading_mmHg", played="leak_down")),
    ({"transducer.gain", "supply.pressure_mmHg"}, recording("reading_mmHg", "cuff_mmHg")),
])
def test_each_pair_and_its_cure(free, cured):
    rig = load_rig("wrist")
    (group,) = confounded(rig, free, [recording("reading_mmHg")])
    assert set(group.names) == free and group.why and group.cure
    assert confounded(rig, free, [cured]) == []
    for one in free:
        assert confounded(rig, free - {one}, [recording("reading_mmHg")]) == []


def test_lags_in_series():
    """Of a pressure valve that sits on a cuff without heat exchange; a gauge in the cuff tells them apart."""
    rig = load_rig("cabinet", ["tube.kind=none", "cuff.gap_mm=0.0"])
    assert [group.names for group in confounded(rig, set(LAGS), [recording("reading_mmHg")])] == [LAGS]
    assert confounded(rig, set(LAGS), [recording("reading_mmHg", "cuff_mmHg")]) == []
    assert lags_in_series(load_rig("cabinet"), set(LAGS), [recording("reading_mmHg")]) == []
    assert confounded(load_rig("cabinet", ["tube.kind=none"]), set(LAGS), [recording("reading_mmHg")]) == []
