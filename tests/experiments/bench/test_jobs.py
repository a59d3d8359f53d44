"""Jobs are generators of answers, by name."""
from experiments.bench.answers.kernel import is_at_hand
from experiments.bench.answers.turned import ready_of
from experiments.bench.jobs import JOBS, compiled_aside
from tests.experiments.bench.helper import asked


def test_compiling_makes_a_kernel_ready():
    assert [answer.head for answer in compiled_aside(asked())] == [{"compiled": True}]
    assert is_at_hand(ready_of(asked()))
    assert set(JOBS) >= {"check", "compile"}
