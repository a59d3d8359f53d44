"""Two checks to compare: the shared one of the wrist rig, and one of a rig that differs in three parameters."""
from experiments.check.check import Check, check
from experiments.check.comparison.study import Comparison, compare_checks
from experiments.rigs.requirements import default_requirements, load_requirements
from experiments.rigs.rig import load_rig

CHANGES = ["controller.kp=0.005", "tube.kind=none", "valve.dead_band=0.03"]


def compared(checked: Check) -> Comparison:
    """The shared check beside one of the changed rig."""
    other = check(load_rig("wrist", CHANGES), checked.run.trace, load_requirements(default_requirements("wrist")))
    return compare_checks([checked, other])
