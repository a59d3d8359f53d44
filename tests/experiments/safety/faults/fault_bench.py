"""One benign finger on a built-in rig, brought to the onset once for all tests of failures."""
import functools

from experiments.rigs.rig import load_rig
from experiments.safety.faults.trial import Times, make_bench
from experiments.subjects.population import sample_fingers

SHORT = Times(fill_s=8.0, settle_s=2.0, after_s=2.5)


@functools.cache
def bench(name="wrist", *changes, after_s=2.5):
    """A bench; the same one for the same arguments."""
    people = sample_fingers(2)
    return make_bench(load_rig(name, list(changes)), people[0], people[1], times=SHORT._replace(after_s=after_s))
