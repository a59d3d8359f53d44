"""The picture says what is played and what is expected."""
from experiments.identify.excite.pictures import plan_figure
from experiments.identify.excite.plan import plan_for
from experiments.rigs.rig import load_rig


def test_titles_and_labels():
    plan = plan_for(load_rig("cabinet"), ["timing"], 250.0, 2000.0, 3.0)
    figure = plan_figure(plan)
    assert "to be played" in figure.axes[0].get_title() and "cabinet" in figure.axes[1].get_title()
    assert figure.axes[-1].get_xlabel() == "time [s]" and "mmHg" in figure.axes[1].get_ylabel()
