"""A sweep of somebody's firmware: the same code against another plant at each point."""
from pathlib import Path

import pytest

from experiments.design.sweep.axes import parse_axes
from experiments.design.sweep.foreign import (
    FIGURES,
    ForeignSweep,
    refuse_axes_of_law,
    run_points,
    sweep_dataset,
    sweep_figure,
)
from experiments.design.sweep.piece import Case
from experiments.design.sweep.verdict import Limit
from experiments.rigs.rig import read_rig
from plant.errors import InputError
from plant.pressure.synthetic import SyntheticPressure, synthesise
from tests.experiments.firmware.foreign.planted import planted
from tests.experiments.firmware.helper import needs_gcc

SOURCE = read_rig("wrist", [])


@pytest.mark.parametrize(("text", "refused"), [
    ("controller.kp=0.01,0.02", True), ("actuator.supply_mmHg=500,600", True),
    ("filling.gain_per_mmHg=0.02,0.03", True),
    ("supply.pressure_mmHg=500,600", False), ("timing.dead_time_s=0.001,0.002", False),
])
def test_axes_of_the_rigs_own_law_are_refused(text: str, refused: bool) -> None:
    """What is outside it can be swept."""
    axes = parse_axes([text], SOURCE)
    if refused:
        with pytest.raises(InputError, match="of the rig's own law"):
            refuse_axes_of_law(axes)
    else:
        refuse_axes_of_law(axes)


@needs_gcc
def test_points_have_figures_findings_or_a_reason(tmp_path: Path) -> None:
    """A firmware that dies; a jitter that does not fit into a tick."""
    axes = parse_axes(["timing.jitter_s=0.002,0"], SOURCE)
    case = Case(SOURCE, ("timing.jitter_s",), True, synthesise(SyntheticPressure(), 0.001, 9.0, 1), None, 9.0, 0.0,
                1)
    points = run_points(case, [(0.002,), (0.0,)], None, planted(tmp_path, "segv"))
    found = ForeignSweep(case, tuple(axes), "segv.c", "", points, [Limit("cuff_mmHg", -1e9, 300.0)])
    assert points[0].reason
    assert points[1].figures["findings"] == 1.0
    assert points[1].figures["run_done"] == 0.0
    assert found.kept == []
    said = "\n".join(found.lines())
    assert "cannot be had" in said
    assert "FINDING crash: SIGSEGV in servo_tick at tick 7777" in said
    assert found.document()["points"][1]["settings"] == ["timing.jitter_s=0.0"]
    data = sweep_dataset(found, {})
    assert set(FIGURES) <= set(data.data_vars)
    assert data["timing.jitter_s"].attrs["units"] == "s"
    sweep_figure(found).draw_without_rendering()
