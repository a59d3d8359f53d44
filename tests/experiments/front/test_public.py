"""Calls in provenance, and complaints in Python's words."""
from pathlib import Path

import pytest

from experiments.front.public import public, word_of
from experiments.rigs.rig import load_rig
from experiments.work.asked import asked, words_asked
from plant.errors import InputError


@public
def told(*_, **__):
    """What was asked."""
    return words_asked()


@public
def refuses():
    """Complain."""
    raise InputError("--start-s -1 must be from 0; add --fingers N")


def test_the_call_in_words():
    assert told("wrist", seed=3) == "cuffloop.told('wrist', seed=3)"
    with asked("cuffloop check"):
        assert told() == "cuffloop check"
    assert told.__doc__ == "What was asked." and told.__name__ == "told"


def test_options_become_arguments_for_python_only():
    with pytest.raises(InputError, match=r"^start_s -1 must be from 0; add fingers N$"):
        refuses()
    with asked("cuffloop check"), pytest.raises(InputError, match=r"^--start-s -1"):
        refuses()


def test_words_are_short():
    assert word_of(Path("a.toml")) == "'a.toml'" and word_of(["a", 1.5]) == "['a', 1.5]"
    assert word_of(load_rig("wrist", ["controller.kp=0.007"])) == "load_rig('wrist', ['controller.kp=0.007'])"
    assert word_of(load_rig("wrist")._replace(given=())) == "load_rig('…')"
    assert len(word_of("x" * 1000)) == 200 and word_of(object()) == "<object>"
