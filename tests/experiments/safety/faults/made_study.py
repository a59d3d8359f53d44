"""A study of failures on rows made up by hand: every number is known."""
import numpy as np

from controller.protection.guards import PROTECTIONS
from experiments.safety.faults.catalogue import CATALOGUE
from experiments.safety.faults.findings import BREAKS
from experiments.safety.faults.study import Plan, Study
from experiments.safety.faults.verdict import FaultLimits, broken
from experiments.simulation.outcome import FIGURES, LAYERS

FAULTS = ("valve_stuck_open", "emitter_out", "cough")
RELIEF = PROTECTIONS.index("relief")


def row(finger, fault, lost=-1, second=-1, figures=None, acted=None):
    base = dict.fromkeys(FIGURES, 0.0) | {"highest_mmHg": 150.0, "detected_s": 0.5, "vent_start_s": 0.5,
                                          "below_20_s": 0.1, "below_15_s": 0.2}
    base |= figures or {}
    first = dict.fromkeys(LAYERS, -1.0) | ({"pressure_rate": 0.5, "dump_valve": 0.5} if acted is None else acted)
    return [finger, 0, fault, second, lost, 0, 0, -1.0, *base.values(), *first.values()]


def made_study():
    """Three failures on two fingers, a protection taken away, a pair, and a finger that was left out."""
    rows = np.array([
        row(0, 0), row(1, 0, figures={"highest_mmHg": 210.0, "detected_s": 8.0, "below_15_s": 3.0}),
        row(0, 0, RELIEF, figures={"highest_mmHg": 400.0}), row(1, 0, RELIEF),
        row(0, 1, figures={"detected_s": -1.0, "wrong_longest_s": 33.0, "wrong_mmHg": 20.0, "vent_start_s": -1.0},
            acted={}), row(0, 1, RELIEF, figures={"detected_s": -1.0, "wrong_longest_s": 33.0}),
        row(0, 2, figures={"detected_s": 1.0}), row(0, 0, second=1, figures={"below_15_s": -1.0}),
    ])
    plan = Plan("wrist", (), FAULTS, 2, 1, "mixed", 1, True, ("relief",), 36.0, FaultLimits())
    made = Study(plan, tuple(CATALOGUE[n] for n in FAULTS), rows, np.zeros((len(rows), len(BREAKS)), bool),
                 ("one", "two"), ("three: does not hold",), {"tube_wet": "it has no tube"})
    figures = {name: made.column(name) for name in FIGURES}
    return made._replace(breaks=broken(FaultLimits(), figures, made.column("fault") == 2, 36.0))
