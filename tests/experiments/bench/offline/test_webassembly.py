"""From IR to a module: small, self-contained, and the same each time."""
import shutil
import subprocess
import sys

import pytest

from experiments.bench.offline import webassembly
from experiments.bench.offline.entry import Entry
from experiments.bench.offline.webassembly import complaint, linker, lowered, module_of, portable
from plant.errors import InputError
from tests.experiments.bench.offline.helper import entry, module, with_linker

ADDS = Entry("""
declare double @llvm.fma.f64(double, double, double)
declare double @sqrt(double)
declare double @other(double)
declare double @exp2(double)
@x = common local_unnamed_addr global ptr null
define linkonce_odr void @NRT_incref(ptr %x) {
  store i32 1, ptr %x
  ret void
}
define double @own(double %a, double %b, double %c) {
  %r = call double @llvm.fma.f64(double %a, double %b, double %c)
  %s = call double @sqrt(double %r)
  %t = call double @CALLED(double %s)
  ret double %t
}
""", "own")
RUN = """const code = Buffer.from(process.argv[1], "base64");
WebAssembly.instantiate(code, { env: { exp2: (x) => 2 ** x } }).then(({ instance }) =>
  console.log(instance.exports.run(0.1, 10, -1), instance.exports.run(2, 8, 0)));"""


def calling(name):
    """The same, with what it calls at its end."""
    return Entry(ADDS.text.replace("CALLED", name), ADDS.name)


def test_nothing_of_python_or_of_this_processor_stays():
    text = portable(entry(), True)
    assert "target triple" not in text and " common " not in text and "llvm.fma" not in text
    assert "store i32 1" not in portable(ADDS, True) and "define internal void @NRT_incref" in portable(ADDS, True)


def test_two_roundings_and_the_root_in_a_module_that_runs():
    with_linker()
    node = shutil.which("node")
    if node is None:
        pytest.skip("node is not installed")
    import base64

    code = base64.b64encode(module_of(calling("sqrt"), rounds_once=False)).decode()
    done = subprocess.run([node, "-e", RUN, code], capture_output=True, text=True, check=True, timeout=60)
    assert done.stdout.split() == ["0", "2"]  # 0.1 · 10 − 1 is 0 with two roundings, 5.55e-17 with one


def test_a_module_is_small_and_the_same_each_time():
    with_linker()
    for rounds_once in (False, True):
        assert module(rounds_once)[:4] == b"\0asm" and 10_000 < len(module(rounds_once)) < 60_000
    assert module_of(entry(), False) == module(False)


def test_what_a_page_has_not_is_named():
    with_linker()
    with pytest.raises(InputError, match="cannot be linked for a page: its parts call other"):
        module_of(calling("other"), False)
    assert complaint("wasm-ld: error: \x1b bad\n").count("\n") == 0


def test_without_a_linker_one_line_says_what_to_install(monkeypatch):
    monkeypatch.setattr(webassembly.importlib.util, "find_spec", lambda name: None)
    monkeypatch.setattr(webassembly.shutil, "which", lambda name: "/somewhere/wasm-ld")
    assert linker() == ["/somewhere/wasm-ld"]
    monkeypatch.setattr(webassembly.shutil, "which", lambda name: None)
    with pytest.raises(InputError, match="pip install 'cuffloop"):
        linker()


def test_a_linker_that_cannot_be_started_is_one_line(monkeypatch):
    monkeypatch.setattr(webassembly, "linker", lambda: ["/nowhere/wasm-ld"])
    with pytest.raises(InputError, match="No such file"):
        webassembly.linked(b"")
    monkeypatch.setattr(webassembly, "linker", lambda: [sys.executable, "-c", "raise SystemExit(3)"])
    with pytest.raises(InputError, match="cannot be linked"):
        webassembly.linked(b"")


def test_an_object_for_a_page_is_made_without_any_linker():
    assert lowered(portable(calling("exp2"), False), False)[:4] == b"\0asm"
