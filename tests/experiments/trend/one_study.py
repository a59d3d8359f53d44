"""A short study, made once for the tests of how it is told: three minutes, two schedules, two failures."""
from functools import lru_cache
from pathlib import Path

from calibrate.schedule.names import find_schedules
from experiments.rigs.rig import load_rig
from experiments.safety.faults.catalogue import find_faults
from experiments.trend.hour import Wanted
from experiments.trend.study import Plan, Study, run_study
from experiments.trend.turns import Turns
from plant.circulation.person_name import named_person

NAME = "person:45f"


def wanted(scenario: str = "quiet", seconds: float = 150.0) -> Wanted:
    """A person on the wrist rig."""
    return Wanted(load_rig("wrist"), named_person(NAME), scenario, seconds, 1, "Liljestrand–Zander")


@lru_cache(maxsize=1)
def one_study() -> tuple[Study, tuple[float, ...]]:
    """The study, and what progress was told."""
    rig, told = load_rig("wrist"), list[float]()
    schedules = find_schedules("every:20,steady", Path())
    faults = tuple(find_faults("valve_stuck_open,height_wrong", rig))
    plan = Plan(rig, NAME, named_person(NAME), ("quiet",), schedules, 150.0, 1, "Liljestrand–Zander", Turns(day_h=6.0),
                faults)
    return run_study(plan, told.append), tuple(told)
