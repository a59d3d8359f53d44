"""Loading a user's own part from a file of theirs: `FILE.py:Class` in place of a kind."""
from __future__ import annotations

import hashlib
import importlib.util
import sys
from pathlib import Path

from plant.declare import include_source
from plant.errors import InputError


def load_class(spec: str, folder: Path, where: str) -> type:
    """Import `FILE.py:Class` (relative to `folder`) and return the class; the file registers its own verbs.

    Compiled code is cached under a key that includes the file. Raises InputError when file or class is missing, or
    when the file itself fails.
    """
    name, _, class_name = spec.partition(":")
    path = (folder / name).resolve()
    if not path.is_file():
        raise InputError(f"{where} = '{spec}': {path} is not a file")
    include_source(path)
    module_name = f"own_part_{path.stem}_{hashlib.sha256(str(path).encode()).hexdigest()[:8]}"
    if module_name not in sys.modules:
        found = importlib.util.spec_from_file_location(module_name, path)
        if found is None or found.loader is None:
            raise InputError(f"{where} = '{spec}': cannot be imported")
        module = importlib.util.module_from_spec(found)
        sys.modules[module_name] = module  # before running it: the compiled cache finds the class by this name
        try:
            found.loader.exec_module(module)
        except Exception as error:
            del sys.modules[module_name]
            raise InputError(f"{where} = '{spec}': {type(error).__name__}: {error}".replace("\n", " ")) from None
    kind = getattr(sys.modules[module_name], class_name, None)
    if not (isinstance(kind, type) and issubclass(kind, tuple) and hasattr(kind, "_fields")):
        raise InputError(f"{where} = '{spec}': the file has no NamedTuple class '{class_name}'")
    return kind
