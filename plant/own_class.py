"""Loading a user's own part from a file of theirs: `FILE.py:Class` in place of a kind."""
from __future__ import annotations

import hashlib
import importlib.util
import sys
from pathlib import Path
from types import ModuleType

from plant.declare import Verb, declared, include_source
from plant.errors import InputError
from plant.messages import value_text


def load_class(spec: str, folder: Path, where: str, verbs: tuple[Verb, ...] = ()) -> type:
    """Import `FILE.py:Class` (relative to `folder`) and return the class; the file registers its own `verbs`.

    Compiled code is cached under a key that includes the file when it registers verbs; one without them shapes nothing
    that is compiled here, and costs no compiling. Raises InputError when file or class is missing, when
    the file itself fails, when a parameter is not declared, or a verb not registered.
    """
    name, _, class_name = spec.partition(":")
    said = f"{where} = {value_text(spec)}"
    kind = getattr(_imported(name, folder, said, bool(verbs)), class_name, None)
    if not (isinstance(kind, type) and issubclass(kind, tuple) and hasattr(kind, "_fields")):
        raise InputError(f"{said}: the file has no NamedTuple class {value_text(class_name)}")
    try:
        declared(kind)
    except Exception as error:  # annotations are the user's own code
        raise InputError(f"{said}: {error}") from None
    for verb in verbs:
        verb_name = getattr(verb, "__name__", "verb")
        if kind not in verb.implementations:
            raise InputError(f"{said}: the file registers no @{verb_name}.of({class_name})")
    return kind


def _imported(name: str, folder: Path, said: str, compiles: bool) -> ModuleType:
    """The module of a user's file, run once."""
    try:
        path = (folder / name).resolve()
        found = path.is_file()
    except (OSError, ValueError):  # no name that a file can have
        raise InputError(f"{said}: is not a file") from None
    if not found:
        raise InputError(f"{said}: {path} is not a file")
    module_name = f"own_part_{path.stem}_{hashlib.sha256(str(path).encode()).hexdigest()[:8]}"
    if module_name in sys.modules:
        return sys.modules[module_name]
    spec = importlib.util.spec_from_file_location(module_name, path)
    if spec is None or spec.loader is None:
        raise InputError(f"{said}: cannot be imported")
    if compiles:
        include_source(path)
    module = importlib.util.module_from_spec(spec)
    sys.modules[module_name] = module  # before running it: the compiled cache finds the class by this name
    try:
        spec.loader.exec_module(module)
    except (Exception, SystemExit) as error:
        del sys.modules[module_name]
        raise InputError(f"{said}: {type(error).__name__}: {error}") from None
    return module
