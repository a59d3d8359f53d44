"""From LLVM IR to a WebAssembly module: llvmlite holds the back end, `wasm-ld` links.

Two modules are made. One multiplies and adds with two roundings, the same in every browser; the other asks for
`f64x2.relaxed_madd`, which rounds once where the processor can, as the compiled loop does here, and then gives its very
bits (WebAssembly's proposal "relaxed SIMD" leaves which of the two to the engine).
"""
from __future__ import annotations

import importlib.util
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

from experiments.bench.offline.entry import Entry
from plant.errors import InputError
from plant.messages import one_line

TRIPLE = "wasm32-unknown-unknown"
FEATURES = "+bulk-memory,+mutable-globals,+nontrapping-fptoint,+sign-ext"  # in every browser since 2021
SINGLE_ROUNDING = ",+simd128,+relaxed-simd"
STACK = 65_536  # bytes
PATIENCE_s = 60.0
MATHS = ("exp2", "exp", "log", "sin", "cos", "tan", "atan", "atan2", "pow", "log2", "log10", "tanh")  # from the page
MISSING = "no linker for WebAssembly: `pip install 'cuffloop[firmware]'`, or install lld (wasm-ld)"
COUNTED = re.compile(r"^define [^\n]*@NRT_(incref|decref)\(.*?^\}\n", re.M | re.S)
TWICE = """
define internal double @multiply_add(double %a, double %b, double %c) alwaysinline {
  %m = fmul double %a, %b
  %s = fadd double %m, %c
  ret double %s
}
"""
ONCE = """
declare <2 x double> @llvm.wasm.relaxed.madd.v2f64(<2 x double>, <2 x double>, <2 x double>)
define internal double @multiply_add(double %a, double %b, double %c) alwaysinline {
  %x = insertelement <2 x double> undef, double %a, i32 0
  %y = insertelement <2 x double> undef, double %b, i32 0
  %z = insertelement <2 x double> undef, double %c, i32 0
  %r = call <2 x double> @llvm.wasm.relaxed.madd.v2f64(<2 x double> %x, <2 x double> %y, <2 x double> %z)
  %s = extractelement <2 x double> %r, i32 0
  ret double %s
}
"""
ROOT = """define internal double @sqrt(double %x) alwaysinline {
  %y = call double @llvm.sqrt.f64(double %x)
  ret double %y
}
"""
EXPORTED = "run"


def linker() -> list[str]:
    """The command that links WebAssembly: that of the wheel `ziglang`, else wasm-ld. Raises InputError without one."""
    if importlib.util.find_spec("ziglang") is not None:
        return [sys.executable, "-m", "ziglang", "wasm-ld"]
    found = shutil.which("wasm-ld")
    if found is None:
        raise InputError(MISSING)
    return [found]


def module_of(entry: Entry, rounds_once: bool) -> bytes:
    """A module that exports `run` (see `Entry`), its memory and where that is free (`__heap_base`).

    Raises InputError without a linker, and for a part that calls what a page has not.
    """
    return linked(lowered(portable(entry, rounds_once), rounds_once))


def portable(entry: Entry, rounds_once: bool) -> str:
    """The IR without what belongs to this processor or to Python: no array here is counted, nothing is raised."""
    text = COUNTED.sub(lambda m: f"define internal void @NRT_{m[1]}(ptr %x) {{\n  ret void\n}}\n", entry.text)
    text = re.sub(r"^target (triple|datalayout)[^\n]*\n", "", text, flags=re.M)
    text = re.sub(r"= common (local_unnamed_addr )?global", "= internal global", text)
    text = re.sub(r"^declare double @llvm\.fma\.f64\([^\n]*\n", "", text, flags=re.M)
    text = re.sub(r"^declare double @sqrt\([^\n]*\n", ROOT, text, flags=re.M)
    if "@llvm.sqrt.f64(" in text and "declare double @llvm.sqrt.f64(" not in text:
        text += "\ndeclare double @llvm.sqrt.f64(double)\n"
    text = text.replace("@llvm.fma.f64(", "@multiply_add(").replace(f"@{entry.name}(", f"@{EXPORTED}(")
    return text + (ONCE if rounds_once else TWICE)


def lowered(text: str, rounds_once: bool) -> bytes:
    """A relocatable object for WebAssembly."""
    import llvmlite.binding as llvm

    llvm.initialize_all_targets()
    llvm.initialize_all_asmprinters()
    parsed: Any = llvm.parse_assembly(text)
    features = FEATURES + (SINGLE_ROUNDING if rounds_once else "")
    machine = llvm.Target.from_triple(TRIPLE).create_target_machine(opt=3, features=features)
    parsed.triple, parsed.data_layout = TRIPLE, str(machine.target_data)
    for function in parsed.functions:
        if not function.is_declaration:
            function.linkage = "external" if function.name == EXPORTED else "internal"
    passes = llvm.create_pass_builder(machine, llvm.create_pipeline_tuning_options(speed_level=2))
    passes.getModulePassManager().run(parsed, passes)
    parsed.verify()
    return bytes(machine.emit_object(parsed))


def linked(made: bytes) -> bytes:
    """The module of an object. Raises InputError when there is no linker, or it fails."""
    command = linker()
    with tempfile.TemporaryDirectory() as folder:
        source, module, allowed = (Path(folder) / name for name in ("loop.o", "loop.wasm", "allowed"))
        source.write_bytes(made)
        allowed.write_text("\n".join(MATHS))
        flags = ["--no-entry", f"--export={EXPORTED}", "--export=__heap_base", "--strip-all", "--gc-sections",
                 "-z", f"stack-size={STACK}", f"--allow-undefined-file={allowed}"]
        try:
            done = subprocess.run([*command, *flags, str(source), "-o", str(module)], capture_output=True, text=True,
                                  errors="replace", timeout=PATIENCE_s, check=False)
        except (OSError, subprocess.TimeoutExpired) as error:
            raise InputError(f"{command[0]}: {getattr(error, 'strerror', None) or 'did not end'}") from None
        if done.returncode != 0:
            raise InputError(f"this rig's loop cannot be linked for a page: {complaint(done.stderr)}")
        return module.read_bytes()


def complaint(said: str) -> str:
    """What the linker complains of, on one line."""
    unknown = sorted(set(re.findall(r"undefined symbol: (\S+)", said)))
    return f"its parts call {', '.join(unknown)}" if unknown else one_line(said.strip(), 300)
