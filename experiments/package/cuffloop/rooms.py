"""Finds plant, controller, calibrate and experiments where this package was installed, whatever lies beside a script.

Python looks beside a script, or in the working directory, before it looks among what is installed: a folder of the
user's that is called `experiments` would be taken for ours. So the four packages are loaded here by their place.
"""
from __future__ import annotations

import sys
from importlib.util import module_from_spec, spec_from_file_location
from os.path import abspath, dirname, isfile, join, samefile

ROOMS = ("plant", "controller", "calibrate", "experiments")
HERE = dirname(abspath(__file__))


def installation() -> str:
    """The folder that holds the four packages: where this one was installed, or the top of a checkout."""
    up = dirname(HERE)
    for place in (up, dirname(dirname(up))):
        if isfile(join(place, "experiments", "front", "__init__.py")):
            return place
    raise ImportError(f"cuffloop is not whole: no experiments/front beside {up}")


def claim_rooms() -> None:
    """Load the four packages from the installation. Raises ImportError where another of that name was loaded before."""
    top = installation()
    for room in ROOMS:
        folder = join(top, room)
        loaded = sys.modules.get(room)
        if loaded is not None:
            places = [str(place) for place in getattr(loaded, "__path__", [])]
            if not any(samefile(place, folder) for place in places if isfile(join(place, "__init__.py"))):
                where = places[0] if places else getattr(loaded, "__file__", None)
                raise ImportError(f"cuffloop needs its own package {room!r}, and another one of that name was imported "
                                  f"before, from {where}: import cuffloop first, or give that one another name")
            continue
        spec = spec_from_file_location(room, join(folder, "__init__.py"), submodule_search_locations=[folder])
        if spec is None or spec.loader is None:
            raise ImportError(f"cuffloop is not whole: {folder} cannot be loaded")
        module = module_from_spec(spec)
        sys.modules[room] = module
        spec.loader.exec_module(module)


def start_worker() -> None:
    """First thing in a process that computes: found through this package, it claims the four before they are used."""
    from experiments.work.run import prepare_worker

    prepare_worker()


def start_aside(connection: object, setup: tuple[object, ...]) -> None:
    """The same for the process beside a bench's server."""
    from experiments.bench.server.aside import work

    work(connection, setup)  # type: ignore[arg-type]
