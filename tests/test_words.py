"""Identifiers use the field's words: where it has one, a homely word is not a name in the sources."""
import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from plant.declare import ROOMS

TOP = Path(__file__).resolve().parent.parent
SOURCES = sorted(path for room in ROOMS for path in (TOP / room).rglob("*.py"))
FORBIDDEN = {  # homely word: the field's
    "nudged": "perturbed", "guarded": "protected", "wobble": "residual rms", "slam": "full step",
    "forgetful": "after a reset", "armed": "enabled", "tally": "sums", "lazy": "slow",
    "squeals": "oscillates", "wiggle": "perturbation", "bumpy": "not bumpless", "glitch": "artefact",
    "stuff": "parameters", "magic": "constant",
}


def defined(tree: ast.Module) -> Iterator[str]:
    """Every name that a file gives to something."""
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            yield node.name
        elif isinstance(node, ast.arg):
            yield node.arg
        elif isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store):
            yield node.id


def homely(name: str, forbidden: dict[str, str]) -> list[str]:
    """Words of a name that the field has another word for."""
    words = (word.lower() for word in re.findall(r"[A-Z]?[a-z]+|[A-Z]+(?![a-z])", name))
    return [word for word in words if word in forbidden]


def test_words_of_a_name() -> None:
    """Parts of a name count, parts of a word do not."""
    assert homely("nudged_mmHg", FORBIDDEN) == ["nudged"] and homely("LazyValve", FORBIDDEN) == ["lazy"]
    assert homely("TALLY", FORBIDDEN) == ["tally"]
    assert not homely("alarmed_s", FORBIDDEN) and not homely("nothing", FORBIDDEN)


@pytest.mark.parametrize("path", SOURCES, ids=[str(path.relative_to(TOP)) for path in SOURCES])
def test_no_homely_words_in_names(path: Path) -> None:
    """Each complaint says which word to take."""
    names = set(defined(ast.parse(path.read_text(encoding="utf-8"))))
    found = {name: FORBIDDEN[words[0]] for name in names if (words := homely(name, FORBIDDEN))}
    assert not found, ", ".join(f"{name}: say {better}" for name, better in sorted(found.items()))
