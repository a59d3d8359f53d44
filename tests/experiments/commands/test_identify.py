"""Commands for a bench hand over what was asked."""
from pathlib import Path

import pytest

from experiments.commands import bench
from experiments.commands.jobs.identify import ExciteOptions, IdentifyOptions
from tests.experiments.commands.handing_over import handed_over

CASES = [
    (["excite", "cabinet", "--for", "tube", "--ceiling", "200"], "bench.excite_job",
     ExciteOptions(rig="cabinet", parts="tube", ceiling=200.0)),
    (["identify", "a.toml", "--free", "valve", "--known", "cuff.volume_mL=2", "--quick"], "bench.identify_job",
     IdentifyOptions(sheet=Path("a.toml"), free="valve", known=["cuff.volume_mL=2"], quick=True)),
]


@pytest.mark.parametrize(("line", "job", "given"), CASES, ids=lambda value: value if isinstance(value, str) else None)
def test_the_job_gets_what_was_asked(cuffloop, monkeypatch, line, job, given):
    assert handed_over(cuffloop, monkeypatch, line, job) == [given]


def test_every_command_is_listed():
    assert {case[0][0] for case in CASES} == {function.__name__ for function in bench.COMMANDS}
