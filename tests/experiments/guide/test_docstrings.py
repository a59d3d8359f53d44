"""Sections of docstrings are laid out for functions; a colon in the one line of an attribute is only a colon."""
from experiments.guide.docstrings import laid_out


def through(what, text):
    lines = text.splitlines()
    laid_out(None, what, "name", None, None, lines)
    return "\n".join(lines)


def test_arguments_become_fields():
    found = through("function", "Do it.\n\nArgs:\n    rig: which one.\n\nRaises:\n    InputError: a wrong one.")
    assert ":param rig: which one." in found and ":raises InputError: a wrong one." in found


def test_an_attribute_keeps_its_colons():
    text = "Address of a scheduler, as in `tcp://host:8786`, instead of workers."
    assert through("attribute", text) == text
