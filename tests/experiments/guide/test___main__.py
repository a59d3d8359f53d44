"""The command that builds the guide: what it takes, and how it refuses."""
import pytest

from experiments.guide.__main__ import USAGE, main


@pytest.mark.parametrize("arguments", [["a", "b"], ["--fast"], ["-h"]])
def test_other_arguments_are_refused(arguments, capsys):
    assert main(arguments) == 2
    assert capsys.readouterr().err == f"{USAGE}\n"


def test_without_its_packages_it_says_what_to_install(monkeypatch, capsys, tmp_path):
    monkeypatch.setattr("experiments.guide.build.PACKAGES", ("no_such_package",))
    assert main([str(tmp_path / "guide")]) == 2
    assert capsys.readouterr().err == (
        "cuffloop guide: the guide needs the package no_such_package: pip install 'cuffloop[guide]'\n")
    assert not (tmp_path / "guide").exists()


def test_it_builds_into_the_folder_that_is_named(monkeypatch, capsys, tmp_path):
    asked = []
    monkeypatch.setattr("experiments.guide.build.build", lambda folder, execute: asked.append((folder, execute)) or 0)
    assert main([str(tmp_path / "here"), "--without-lessons"]) == 0
    assert asked == [(tmp_path / "here", False)] and "index.html" in capsys.readouterr().out
    monkeypatch.setattr("experiments.guide.build.build", lambda folder, execute: 1)
    assert main([str(tmp_path)]) == 1 and capsys.readouterr().out == ""
