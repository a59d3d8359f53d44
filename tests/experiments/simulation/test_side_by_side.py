"""Who can go beside whom, and that the channels come block by block, each with the bits of its run alone."""
import numpy as np

from experiments.rigs.rig import load_rig
from experiments.simulation import side_by_side as module
from experiments.simulation.lanes import Lanes, WrittenForOne
from experiments.simulation.many import finger_ready
from experiments.simulation.side_by_side import alike, side_by_side
from experiments.simulation.simulate import Plan, run_ready
from experiments.subjects.population import sample_fingers
from plant.numerics.vector import WIDTH

SHORT = Plan(0.3, 0.2)


class Pile:
    """Keeps what it is given."""

    def __init__(self, runs):
        self.runs, self.firsts, self.blocks = runs, [], []

    def add(self, first, channels):
        self.firsts.append(first)
        self.blocks.append(channels)


def ready(number=0, seconds=0.8, plan=SHORT, *changes):
    return finger_ready((load_rig("wrist", list(changes)), sample_fingers(number + 1)[number]), seconds, plan, 12)


def test_who_is_alike():
    """Numbers of their own do not part runs; bits, whole ticks, plan and length do."""
    runs = [ready(0), ready(1, 0.8, SHORT, "light.bits=12"), ready(2, 0.8, SHORT, "tube.length_m=0.06"), ready(3, 0.9),
            ready(4, 0.8, Plan(0.3, 0.1)), ready(5, 0.8, SHORT, "light.bits=12"),
            ready(6, 0.8, SHORT, "timing.dead_time_s=0.0024"), ready(7, 0.8, SHORT, "controller.kp=0.004")]
    assert alike(runs) == [[0, 2, 7], [1, 5], [3], [4], [6]] and alike([]) == []


def test_blocks_in_order_with_the_bits_of_each_run():
    runs = [ready(i) for i in range(WIDTH + 1)]  # one more than a vector
    pile, lanes = side_by_side(runs, ("cuff_mmHg", "command"), Pile)
    assert pile.runs is runs and pile.firsts == [0, 250, 500, 750] and np.all(lanes.done == 800)
    for name in ("cuff_mmHg", "command"):
        together = np.concatenate([block[name] for block in pile.blocks])
        assert together.shape == (800, WIDTH + 1)
        for i, run in enumerate(runs):
            np.testing.assert_array_equal(together[:, i], run_ready(run).channels[name])


def test_a_part_for_one_finger_is_found_out_once(monkeypatch):
    tried = []

    def refuse(*_, **__):
        tried.append(1)
        raise WrittenForOne("no")

    monkeypatch.setattr(module, "_alone", set())
    monkeypatch.setattr(Lanes, "run", refuse)
    runs = [ready(0), ready(1)]
    assert side_by_side(runs, ("cuff_mmHg",), Pile) is None and side_by_side(runs, ("cuff_mmHg",), Pile) is None
    assert len(tried) == 1
    monkeypatch.undo()
    assert side_by_side(runs, ("cuff_mmHg",), Pile) is not None
