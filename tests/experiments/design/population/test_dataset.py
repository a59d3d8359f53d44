"""A rig on many fingers as labelled data."""
from experiments.design.population.dataset import population_dataset
from experiments.design.population.study import column
from tests.experiments.design.population.opened import judged


def test_every_figure_over_the_fingers():
    found = judged()
    data = population_dataset(found, {"provenance": "{}"})
    assert dict(data.sizes) == {"finger": 5} and data.attrs["rig"] == "open"
    assert list(data["phase_margin_deg"].values) == list(column(found, found.drawn, "phase_margin_deg"))
    assert list(data["phase_margin_deg_as_found"].values) == list(column(found, found.as_found, "phase_margin_deg"))
    assert all("units" in variable.attrs for variable in data.data_vars.values())
    assert "phase_margin_deg_as_found" not in population_dataset(judged(False), {})
