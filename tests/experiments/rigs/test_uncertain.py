"""Rigs drawn within what a bench left open."""
import numpy as np
import pytest

from experiments.rigs.rig import load_rig, read_rig
from experiments.rigs.uncertain import drawn_rigs, draws, spread_lines, tables_lines, uncertain_of, with_beliefs
from plant.errors import InputError

OPEN = """base = "wrist"
[spread]
"valve.conductance" = 0.0008
"cuff.volume_mL" = 0.05
"timing.dead_time_s" = 1e-5
[correlation]
"cuff.volume_mL" = { "valve.conductance" = 0.98 }
"""


@pytest.fixture
def source(tmp_path):
    path = tmp_path / "open.toml"
    path.write_text(OPEN)
    return read_rig(str(path))


def test_a_rig_without_a_spread_is_certain():
    source = read_rig("wrist")
    assert uncertain_of(source) is None and drawn_rigs(source, source.rig(), 3, 1) == [] and spread_lines({}, {}) == []


def test_draws_have_the_spread_and_go_together(source):
    """Two thousand draws: means, standard deviations and correlation are those of the tables."""
    uncertain = uncertain_of(source)
    assert uncertain.joint
    found = np.array(draws(uncertain, 2000, 1))
    assert np.allclose(np.mean(found, axis=0), uncertain.values, atol=4.0 * uncertain.sds / np.sqrt(2000.0))
    assert np.allclose(np.std(found, axis=0), uncertain.sds, rtol=0.08)
    assert np.corrcoef(np.log(found[:, :2]).T)[0, 1] == pytest.approx(0.98, abs=0.01)
    assert abs(np.corrcoef(found[:, 1:].T)[0, 1]) < 0.1
    assert draws(uncertain, 5, 1) == draws(uncertain, 9, 1)[:5] != draws(uncertain, 5, 2)


def test_only_plant_and_dead_time_are_drawn(source):
    """What the firmware believes stays, and so does whatever else the rig has been given since."""
    rig = source.rig()
    tuned = rig._replace(controller=rig.controller._replace(kp=0.0123))
    for one in drawn_rigs(source, tuned, 4, 1):
        assert one.stage == rig.stage and one.controller.kp == 0.0123 and one.design == rig.design
        assert one.plant.cuff.volume_mL != rig.plant.cuff.volume_mL and one.plant.tube == rig.plant.tube
        assert 0.0 < abs(one.timing.dead_time_s - rig.timing.dead_time_s) < 1e-4
        ratio = one.plant.valve.conductance / one.plant.cuff.volume_mL * rig.plant.cuff.volume_mL
        assert abs(ratio / rig.plant.valve.conductance - 1.0) < 0.02


def test_beliefs_that_are_written_down_stay(source):
    """An inverse that follows the plant no longer does; a direct stage has nothing to write but its gain."""
    held = with_beliefs(source).changed("valve", "conductance", 0.02)
    assert held.rig().stage == source.rig().stage != source.changed("valve", "conductance", 0.02).rig().stage
    assert with_beliefs(read_rig("cabinet")).rig().stage == load_rig("cabinet").stage


def test_correlations_that_are_impossible_together_are_mended(source):
    """Three of them, each the other's opposite: what is drawn still has unit variance."""
    tables = source.tables | {"correlation": {
        "cuff.volume_mL": {"valve.conductance": -0.9, "timing.dead_time_s": -0.9},
        "timing.dead_time_s": {"valve.conductance": -0.9}}}
    uncertain = uncertain_of(source._replace(tables=tables))
    assert np.min(np.linalg.eigvalsh(uncertain.correlation)) > -1e-12
    assert np.allclose(np.diag(uncertain.correlation), 1.0)


def test_a_draw_stays_within_the_parts_bounds(source):
    """A dead time of next to nothing is never below zero."""
    wide = source.changed("timing", "dead_time_s", 1e-7)
    low = np.array(draws(uncertain_of(wide), 200, 1))[:, 2]
    assert np.min(low) >= 0.0 and np.max(low) <= 0.1


@pytest.mark.parametrize("name", ["controller.kp", "valve.kind", "tube.sections", "valve.nothing"])
def test_what_cannot_be_off_is_refused(source, name):
    with pytest.raises(InputError, match="no number of this rig's parts"):
        uncertain_of(source._replace(tables=source.tables | {"spread": {name: 0.1}, "correlation": {}}))


def test_the_tables_are_read_again(source, tmp_path):
    path = tmp_path / "again.toml"
    path.write_text('base = "wrist"\n' + "\n".join(tables_lines(source.tables)) + "\n")
    again = load_rig(str(path)).tables
    assert again["spread"] == source.tables["spread"] and again["correlation"] == source.tables["correlation"]
