"""Design and teaching workbench for the pressure servo of a finger cuff. Not a medical device.

    import cuffloop

    result = cuffloop.check("wrist", "synthetic")       # what `cuffloop check wrist --record synthetic` does
    print(result)                                       # the same table
    result.figures["phase_margin_deg"], result.passed   # numbers by name; their units: result.figure_units
    result.to_xarray()                                  # labelled, with units
    result.plot()["margins"].savefig("margins.png")     # Matplotlib figures by name

    rig = cuffloop.load_rig("wrist", {"controller.kp": 0.007})
    cuffloop.compare("wrist", rig, record="synthetic")

**Functions**, each the same as the command of its name: `check`, `check_fingers` (`check --fingers`), `compare`
(`check` with several rigs), `simulate`, `margins`, `rounding`, `search` (one finger), `searches` (many), `schedules`,
`sweep`, `tune`, `budget`, `faults`, `fingers`, `height`, `wear`, `readings`, `require`, `agree` (two files), `trend`,
`excite`, `identify`, `loop`, `fmu`, `rigs`, `parameters` (of one rig); `check_firmware` and `sweep_firmware` (a
firmware of your own); `bench` in a notebook. What they take: `load_rig`, `read_record`, `Work`, `SweepOptions`,
`FaultOptions`, `ReadingOptions`, `TrendOptions`, `TuneOptions`, `BoardOptions`. Around them: `progress`.
`help(cuffloop.check)` says all about one.

**Results** are frozen; each prints as its command does (in a notebook, too) and has `passed`, `to_json()`,
`to_xarray()`, `plot()`, `units` and `save(folder)`. Bad input raises `InputError` with one line.

Nothing heavy is imported before it is used. A folder of your own called `experiments`, `plant`, `controller` or
`calibrate` beside a script does not disturb this package, and a script's own modules in it can be imported only
before `import cuffloop`, which then refuses; so call them otherwise. With more than one worker, import cuffloop at the
top of the script and keep what it does below `if __name__ == "__main__":`.
"""
from __future__ import annotations

from cuffloop.rooms import claim_rooms

TYPE_CHECKING = False  # as in typing, which takes a while to import
if TYPE_CHECKING:
    __version__: str
    from experiments.bench.widget import bench as bench
    from experiments.front.budget import BudgetResult as BudgetResult
    from experiments.front.budget import budget as budget
    from experiments.front.check import CheckResult as CheckResult
    from experiments.front.check import check as check
    from experiments.front.compare import CompareResult as CompareResult
    from experiments.front.compare import compare as compare
    from experiments.front.faults import FaultOptions as FaultOptions
    from experiments.front.faults import FaultsResult as FaultsResult
    from experiments.front.faults import faults as faults
    from experiments.front.fingers import FingersResult as FingersResult
    from experiments.front.fingers import fingers as fingers
    from experiments.front.firmware.check import FirmwareCheckResult as FirmwareCheckResult
    from experiments.front.firmware.check import check_firmware as check_firmware
    from experiments.front.firmware.fmu import FmuResult as FmuResult
    from experiments.front.firmware.fmu import fmu as fmu
    from experiments.front.firmware.loop import BoardOptions as BoardOptions
    from experiments.front.firmware.loop import LoopResult as LoopResult
    from experiments.front.firmware.loop import loop as loop
    from experiments.front.firmware.sweep import FirmwareSweepResult as FirmwareSweepResult
    from experiments.front.firmware.sweep import sweep_firmware as sweep_firmware
    from experiments.front.height import HeightResult as HeightResult
    from experiments.front.height import height as height
    from experiments.front.identify import ExciteResult as ExciteResult
    from experiments.front.identify import IdentifyResult as IdentifyResult
    from experiments.front.identify import excite as excite
    from experiments.front.identify import identify as identify
    from experiments.front.inputs import Work as Work
    from experiments.front.inputs import load_rig as load_rig
    from experiments.front.inputs import read_record as read_record
    from experiments.front.margins import MarginsResult as MarginsResult
    from experiments.front.margins import margins as margins
    from experiments.front.population.check import FingersCheckResult as FingersCheckResult
    from experiments.front.population.check import check_fingers as check_fingers
    from experiments.front.readings.agree import AgreeResult as AgreeResult
    from experiments.front.readings.agree import agree as agree
    from experiments.front.readings.readings import ReadingOptions as ReadingOptions
    from experiments.front.readings.readings import ReadingsResult as ReadingsResult
    from experiments.front.readings.readings import readings as readings
    from experiments.front.readings.require import RequireResult as RequireResult
    from experiments.front.readings.require import require as require
    from experiments.front.readings.trend import TrendOptions as TrendOptions
    from experiments.front.readings.trend import TrendResult as TrendResult
    from experiments.front.readings.trend import trend as trend
    from experiments.front.result import Result as Result
    from experiments.front.rigs import (
        RigList as RigList,
    )
    from experiments.front.rigs import (
        RigResult as RigResult,
    )
    from experiments.front.rigs import (
        parameters as parameters,
    )
    from experiments.front.rigs import (
        rigs as rigs,
    )
    from experiments.front.rounding import RoundingResult as RoundingResult
    from experiments.front.rounding import rounding as rounding
    from experiments.front.schedules import SchedulesResult as SchedulesResult
    from experiments.front.schedules import schedules as schedules
    from experiments.front.search import (
        SearchesResult as SearchesResult,
    )
    from experiments.front.search import (
        SearchResult as SearchResult,
    )
    from experiments.front.search import (
        search as search,
    )
    from experiments.front.search import (
        searches as searches,
    )
    from experiments.front.simulate import SimulateResult as SimulateResult
    from experiments.front.simulate import simulate as simulate
    from experiments.front.sweep import SweepOptions as SweepOptions
    from experiments.front.sweep import SweepResult as SweepResult
    from experiments.front.sweep import sweep as sweep
    from experiments.front.tune import TuneOptions as TuneOptions
    from experiments.front.tune import TuneResult as TuneResult
    from experiments.front.tune import tune as tune
    from experiments.front.wear import WearResult as WearResult
    from experiments.front.wear import wear as wear
    from experiments.work.progress import progress as progress
    from plant.errors import InputError as InputError

FRONT: dict[str, tuple[str, ...]] = {  # module of experiments.front: what it brings
    "inputs": ("Work", "load_rig", "read_record",),
    "check": ("CheckResult", "check",),
    "compare": ("CompareResult", "compare",),
    "population.check": ("FingersCheckResult", "check_fingers",),
    "simulate": ("SimulateResult", "simulate",),
    "margins": ("MarginsResult", "margins",),
    "search": ("SearchResult", "SearchesResult", "search", "searches",),
    "schedules": ("SchedulesResult", "schedules",),
    "sweep": ("SweepOptions", "SweepResult", "sweep",),
    "tune": ("TuneOptions", "TuneResult", "tune",),
    "budget": ("BudgetResult", "budget",),
    "faults": ("FaultOptions", "FaultsResult", "faults",),
    "fingers": ("FingersResult", "fingers",),
    "height": ("HeightResult", "height",),
    "wear": ("WearResult", "wear",),
    "identify": ("ExciteResult", "IdentifyResult", "excite", "identify",),
    "readings.readings": ("ReadingOptions", "ReadingsResult", "readings",),
    "readings.require": ("RequireResult", "require",),
    "readings.agree": ("AgreeResult", "agree",),
    "readings.trend": ("TrendOptions", "TrendResult", "trend",),
    "rounding": ("RoundingResult", "rounding",),
    "firmware.loop": ("BoardOptions", "LoopResult", "loop",),
    "firmware.fmu": ("FmuResult", "fmu",),
    "firmware.check": ("FirmwareCheckResult", "check_firmware",),
    "firmware.sweep": ("FirmwareSweepResult", "sweep_firmware",),
    "rigs": ("RigList", "RigResult", "parameters", "rigs",),
    "result": ("Result",),
}
ELSEWHERE = {
    "InputError": "plant.errors", "bench": "experiments.bench.widget", "progress": "experiments.work.progress",
}
PLACES = {name: f"experiments.front.{module}" for module, names in FRONT.items() for name in names} | ELSEWHERE

__all__ = [
    "AgreeResult", "BoardOptions", "BudgetResult", "CheckResult", "CompareResult", "ExciteResult", "FaultOptions",
    "FaultsResult", "FingersCheckResult", "FingersResult", "FirmwareCheckResult", "FirmwareSweepResult", "FmuResult",
    "HeightResult", "IdentifyResult", "InputError", "LoopResult", "MarginsResult", "ReadingOptions", "ReadingsResult",
    "RequireResult", "Result", "RigList", "RigResult", "RoundingResult", "SchedulesResult", "SearchResult",
    "SearchesResult", "SimulateResult", "SweepOptions", "SweepResult", "TrendOptions", "TrendResult", "TuneOptions",
    "TuneResult", "WearResult", "Work",
    "agree", "bench", "budget", "check", "check_fingers", "check_firmware", "compare", "excite", "faults", "fingers",
    "fmu", "height", "identify", "load_rig", "loop", "margins", "parameters", "progress", "read_record", "readings",
    "require", "rigs", "rounding", "schedules", "search", "searches", "simulate", "sweep", "sweep_firmware", "trend",
    "tune", "wear",
]

claim_rooms()


if not TYPE_CHECKING:  # a checker sees the names above, and no others

    def __getattr__(name: str) -> object:
        """A function or class, imported when it is first asked for."""
        from importlib import import_module

        if name == "__version__":
            from experiments.work.output import own_version

            return own_version()
        if name not in PLACES:
            raise AttributeError(f"module 'cuffloop' has no attribute {name!r}")
        found = getattr(import_module(PLACES[name]), name)
        globals()[name] = found
        return found


def __dir__() -> list[str]:
    """What there is, imported or not."""
    return sorted({*globals(), *__all__})
