"""Pictures of a sweep along one axis, and of a sample: what they draw is what was found."""
import numpy as np
import pytest

from experiments.design.sweep.pictures import cloud_figure, lines_figure, study_figures
from experiments.design.sweep.verdict import Limit, keeps, limits_of
from experiments.design.sweep.view import limit_of, view_of
from experiments.rigs.requirements import default_requirements, load_requirements
from experiments.work.style import save

LIMITS = load_requirements(default_requirements("wrist"))


@pytest.fixture(scope="module")
def lengths(make_sweep):
    return make_sweep(["controller.kp=0.003:0.3:9:log", "tube.length_m=0,0.05,0.3"])


def test_lines_are_the_figures(lengths):
    limits = limits_of(lengths, LIMITS)
    figure = lines_figure(lengths, limits, view_of(lengths))
    phase, gain, peak, delay, error, command = figure.axes
    for k, line in enumerate([x for x in phase.lines if len(x.get_xdata()) == 9]):
        np.testing.assert_array_equal(line.get_xdata(), lengths.axes[0].values)
        np.testing.assert_array_equal(line.get_ydata(), lengths.worst("phase_margin_deg").reshape(9, 3)[:, k])
    assert [a.get_ylabel() for a in figure.axes] == [
        "phase margin (°)", "gain margin (dB)", "sensitivity peak Ms", "delay margin (ticks)",
        "tracking error, rms, predicted (mmHg)", "command, SD tick to tick (share of full)"]
    assert any(line.get_ydata()[0] == 6.0 for line in gain.lines if len(line.get_ydata()) == 2)
    assert command.get_xlabel() == "controller.kp (1/mmHg)" and error.get_xscale() == error.get_yscale() == "log"
    legend = figure.legends[0]
    assert [t.get_text() for t in legend.get_texts()] == ["0", "0.05", "0.3"]
    assert legend.get_title().get_text().endswith("tube.length_m (m)") and "unstable" in legend.get_title().get_text()
    assert any(line.get_ydata()[0] == 2.0 for line in delay.lines if len(line.get_ydata()) == 2)
    assert peak.get_ylim()[1] <= 6.0 and not figure.get_suptitle()


def test_a_population_has_a_band_and_columns_have_titles(people, make_sweep, tmp_path):
    figure = lines_figure(people, [], view_of(people))
    assert [t.get_text() for t in figure.legends[0].get_texts()] == [
        "worst finger", "median finger", "5 to 95 % of fingers"]
    words = make_sweep(["controller.kp=0.004,0.006,0.0086", "actuator.kind=direct,flow_inverse",
                        "transducer.at_valve_end=true,false"])
    figure = lines_figure(words, [], view_of(words))
    assert [a.get_title() for a in figure.axes[:2]] == ["transducer.at_valve_end = true ",
                                                        "transducer.at_valve_end = false "]
    save(figure, tmp_path / "a.png")
    kinds = make_sweep(["actuator.kind=direct,flow_inverse"])
    figure = lines_figure(kinds, [], view_of(kinds))
    assert [t.get_text() for t in figure.axes[-1].get_xticklabels()] == ["direct", "flow_inverse"]


def test_a_cloud_has_every_point(make_sweep, tmp_path):
    found = make_sweep(["controller.kp=0.003:0.4:log", "tube.length_m=0.02:0.4", "actuator.kind=direct,flow_inverse"],
                       sample=32)
    limits = limits_of(found, {"phase_margin_deg": {"min": 20.0}})
    figure = cloud_figure(found, limits)
    first = figure.axes[0]
    drawn = {c.get_label(): len(c.get_offsets()) for c in first.collections}
    kept, stable = keeps(found, limits), found.worst("stable") == 1.0
    assert drawn["keeps all limits"] == kept.sum() and drawn["misses a limit"] == (stable & ~kept).sum()
    assert drawn["unstable (at the foot)"] == (~stable).sum() and len(figure.axes) == 12
    save(figure, tmp_path / "a.png")


def test_the_picture_that_fits(gains, lengths, make_sweep):
    for found in (gains, lengths, make_sweep(["controller.kp=0.004:0.01"], sample=4)):
        assert list(study_figures(found, [])) == ["sweep"]
    assert len(study_figures(gains, [])["sweep"]().axes) == 12  # six maps, six colour bars


def test_limits_by_quantity(gains):
    limits = [Limit("phase_margin_deg", 45.0, np.inf), Limit("modulus_margin", 0.5, np.inf), Limit("x", -np.inf, 3.0)]
    assert limit_of(gains, limits, "phase_margin_deg") == 45.0 and limit_of(gains, limits, "sensitivity_peak") == 2.0
    assert limit_of(gains, limits, "x") == 3.0 and np.isnan(limit_of(gains, [], "sensitivity_peak"))
    seconds = [Limit("delay_margin_s", 0.003, np.inf)]
    assert limit_of(gains, seconds, "delay_margin_ticks") == pytest.approx(3.0)  # a limit in seconds is drawn too
