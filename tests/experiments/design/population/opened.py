"""A rig with something left open, judged on a few fingers, for the tests of what is told of it."""
import functools
import tempfile
from pathlib import Path

from experiments.design.population.study import Plan, judge_fingers
from experiments.rigs.rig import read_rig
from experiments.subjects.population import sample_fingers

LIMITS = {"phase_margin_deg": {"min": 45.0}, "sensitivity_peak": {"max": 2.0}}
OPEN = '[spread]\n"valve.natural_frequency_Hz" = 60.0\n"timing.dead_time_s" = 2e-4\n'


@functools.cache
def opened():
    """The wrist with that of its valve and dead time left open."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "open.toml"
        path.write_text(f'base = "wrist"\n{OPEN}')
        return read_rig(str(path))


@functools.cache
def judged(is_open=True, count=5):
    """That rig, or the wrist itself, on a few fingers."""
    source = opened() if is_open else read_rig("wrist")
    return judge_fingers(Plan(source, tuple(sample_fingers(count)), LIMITS))
