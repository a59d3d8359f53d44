"""Whether a recording is in another unit: its size beside what the rig that is believed in would have given."""
from __future__ import annotations

import numpy as np

from experiments.identify.fit.problem import Problem
from plant.errors import InputError

UNITS = {  # a pressure in it is so many times that in mmHg: what to multiply by
    "kPa": 0.133322, "Pa": 133.322, "psi": 0.0193368, "bar": 0.00133322, "mmH2O": 13.5951,
}
NEAR = 1.6  # a factor within which a rig may be off what is believed
LIKE = 0.8  # least correlation of a course that is right but for its unit


def check_units(problem: Problem) -> None:
    """Refuse a recording whose pressures are right but for a unit's factor. Raises InputError."""
    one = problem.candidate(np.array([]))
    for k, recording in enumerate(problem.recordings):
        names = [name for name in problem.channels(recording) if name.endswith("_mmHg") and name != "supply_mmHg"]
        found = problem.courses(k, [one], names) if names else {}
        for name, values in found.items():
            course, seen = values[:, 0], recording.channels[name]
            if np.ptp(course) < 1.0 or np.corrcoef(course, seen)[0, 1] < LIKE:
                continue
            ratio = float(np.std(seen) / np.std(course))
            for unit, factor in UNITS.items():
                if 1.0 / NEAR < ratio / factor < NEAR:
                    raise InputError(f"{recording.name}: {name} is {ratio:.3g} times what rig {problem.bench.rig.name} "
                                     f"would give: it looks like {unit}; multiply by {1.0 / factor:.6g}")
