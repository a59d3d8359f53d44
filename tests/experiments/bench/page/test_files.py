"""The page's files: small, each one job, nothing from elsewhere; the vendored library is the released one."""
import hashlib
import re

import pytest

from experiments.bench.server.app import PAGE

OWN = sorted(p for p in PAGE.rglob("*") if p.is_file() and p.parent.name != "vendor")
UPLOT = {  # of the package uplot 1.6.32 on npm
    "uplot-1.6.32.min.js": "19c8d4c6ad88929a79f4ae49d6f7161566dfd0ba3d15cc495e974f787eb78f1f",
    "uplot-1.6.32.css": "df630c6a8d6f8eeaff264b50f73ce5b114f646ffd9a0bb74f049b0a00135fa04",
}


@pytest.mark.parametrize("name", UPLOT)
def test_the_vendored_library_is_as_it_was_released(name):
    assert hashlib.sha256((PAGE / "vendor" / name).read_bytes()).hexdigest() == UPLOT[name]
    assert "MIT License" in (PAGE / "vendor" / "uplot-LICENSE.txt").read_text()


@pytest.mark.parametrize("path", OWN, ids=lambda path: path.name)
def test_a_file_is_short_and_says_what_it_is(path):
    text = path.read_text(encoding="utf-8")
    assert len(text.splitlines()) <= 400
    assert path.suffix == ".html" or text.startswith(("// ", "/* "))
    assert not re.search(r"https?://(?!www\.w3\.org/2000/svg)|innerHTML|\beval\(|new Function|style=\"", text)


def test_a_folder_is_small():
    for folder in {path.parent for path in OWN}:
        assert sum(p.is_file() for p in folder.iterdir()) <= 20
