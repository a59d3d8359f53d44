"""What is worked out aside, by name: each job is a generator of answers that may be left at any of them."""
from __future__ import annotations

from collections.abc import Callable, Iterator

from experiments.bench.answers.broken import broken
from experiments.bench.answers.checked import checked
from experiments.bench.answers.fingers import fingers
from experiments.bench.answers.kernel import load
from experiments.bench.answers.map import swept
from experiments.bench.answers.searched import searched
from experiments.bench.answers.turned import ready_of
from experiments.bench.asked import Asked
from experiments.bench.wire import Answer


def compiled_aside(asked: Asked) -> Iterator[Answer]:
    """Compile the kernel that a request needs into the shared cache. Raises InputError."""
    load(ready_of(asked))
    yield Answer({"compiled": True})


JOBS: dict[str, Callable[[Asked], Iterator[Answer]]] = {
    "check": checked, "compile": compiled_aside, "search": searched, "failure": broken,
    "fingers": fingers, "map": swept,
}
