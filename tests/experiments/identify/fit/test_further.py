"""What is not recorded yet is what helps."""
from experiments.identify.fit.further import further
from experiments.rigs.rig import load_rig
from tests.experiments.identify.benches import identified


def test_pieces_are_ranked():
    found, _ = identified("cabinet")
    ranked = further(found, load_rig("cabinet"))
    assert all(one.gain > 0.0 and 0.0 < one.share <= 1.0 for one in ranked)
    paces = [one.gain / one.seconds for one in ranked]
    assert paces == sorted(paces, reverse=True)
    assert {one.helps for one in ranked} <= {f.name for f in found.problem.free}
