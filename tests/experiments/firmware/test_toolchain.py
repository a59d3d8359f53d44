"""Finding a compiler."""
import pytest

from experiments.firmware import toolchain
from experiments.firmware.toolchain import Compiler, find_compiler
from plant.errors import InputError
from tests.experiments.firmware.helper import GCC, needs_gcc


@needs_gcc
def test_the_one_that_is_named_comes_first(monkeypatch: pytest.MonkeyPatch) -> None:
    """By the variable CC."""
    monkeypatch.setenv("CC", f"{GCC} -O1")
    found = find_compiler()
    assert found.command == (GCC, "-O1")
    assert "gcc" in found.version


def test_without_any_it_says_what_to_do(monkeypatch: pytest.MonkeyPatch) -> None:
    """One line."""
    monkeypatch.setattr(toolchain, "candidates", lambda: [("no-such-compiler",)])
    with pytest.raises(InputError, match="no C compiler"):
        find_compiler()


def test_one_that_cannot_be_started_is_named() -> None:
    """By its command."""
    with pytest.raises(InputError, match="no-such-compiler"):
        Compiler(("no-such-compiler",), "1").run([])
