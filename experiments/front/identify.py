"""`cuffloop.excite` and `cuffloop.identify`: from a bench to a rig.

Commands to be played so that what is recorded tells most, and from the recordings every number with its uncertainty.
"""
from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from experiments.front.inputs import RigLike, bounded, rig_of
from experiments.front.public import public
from experiments.front.result import Result
from experiments.identify.excite.files import command_text, has_command_file, recording_text, sheet_text
from experiments.identify.excite.plan import LIGHT, Plan, light_plan, plan_for, play_all
from experiments.identify.excite.text import plan_json, plan_lines
from experiments.identify.fit.choose import ANCHOR, ASSUMED_SHARE, USUAL, free_for
from experiments.identify.fit.further import further
from experiments.identify.fit.problem import FINE, Problem, with_steps
from experiments.identify.fit.study import Held
from experiments.identify.fit.study import identify as identified
from experiments.identify.fit.suspects import suspects
from experiments.identify.fit.units import check_units
from experiments.identify.light.bench import BELIEVED, LAMP, RAMP, USUAL_LIGHT, LightBench, prepared
from experiments.identify.light.bench import TABLES as LIGHT_TABLES
from experiments.identify.outcome.account import Account
from experiments.identify.outcome.margins import margin_bands
from experiments.identify.outcome.rig_file import rig_found, rig_text
from experiments.identify.outcome.text import account_json, account_lines
from experiments.identify.recording.read import read_recordings
from experiments.identify.recording.recording import Recording
from experiments.identify.recording.sheet import Known, Sheet, read_sheet
from experiments.identify.replay.candidates import Free, bench_of, free_of, value_of
from experiments.rigs.rig import Rig, Source, built_in_rigs, read_rig
from experiments.work.output import OutputFolder, provenance
from experiments.work.progress import watcher
from plant.errors import InputError

if TYPE_CHECKING:
    import xarray

MOST_STARTS = 50
LONGEST_s = 600.0
SYRINGE = 0.02  # standard uncertainty of a volume measured on the virtual bench, as a share: invented


@dataclass(frozen=True, eq=False, repr=False)
class ExciteResult(Result):
    """What `excite` plans: pieces in the order in which they help, and what each tells."""

    plan: Plan
    base: str
    player: Rig | None = None
    """A rig on a virtual bench that has played them, or none."""
    seed: int = 1

    @property
    def file_name(self) -> str:
        """excite."""
        return "excite"

    def lines(self) -> list[str]:
        """A table of pieces, and of what each tells."""
        return plan_lines(self.plan)

    def document(self) -> dict[str, Any]:
        """The same as plain data."""
        return plan_json(self.plan) | dict(self.told)

    def pictures(self) -> dict[str, Callable[[], Any]]:
        """excite."""
        from experiments.identify.excite.pictures import plan_figure

        return {"excite": lambda: plan_figure(self.plan)}

    def to_xarray(self) -> xarray.Dataset:
        """Expected standard uncertainty over `piece` and `number`."""
        import xarray

        plan = self.plan
        return xarray.Dataset(
            {"sd_alone": (("piece", "number"), plan.alone, {"units": "1", "long_name": "by one piece alone"}),
             "sd_together": ("number", plan.together, {"units": "1", "long_name": "by all pieces"}),
             "gain": ("piece", list(plan.gains), {"units": "1", "long_name": "information gained, nats"})},
            {"piece": [p.played for p in plan.pieces], "number": [f.name for f in plan.free]}, self.attributes())

    def write(self, folder: OutputFolder) -> None:
        """Command files, the sheet, and what a virtual bench recorded."""
        super().write(folder)
        for piece in filter(has_command_file, self.plan.pieces):
            folder.write_text(f"{piece.played}_command.csv", command_text(piece))
        known = []
        if self.player is not None:
            played = play_all(self.player, self.plan.pieces, self.seed)
            for piece, channels in zip(self.plan.pieces, played, strict=True):
                folder.write_text(f"{piece.played}.csv", recording_text(piece, channels))
            volume = self.player.plant.cuff.volume_mL
            off = SYRINGE * float(np.random.Generator(np.random.PCG64(self.seed)).standard_normal())
            known = [f'"cuff.volume_mL" = {{ value = {volume * (1.0 + off):.5g}, sd = {SYRINGE * volume:.3g} }}']
            known = [] if self.plan.parts == (LIGHT,) else known
        name = "" if self.player is None else self.player.name
        folder.write_text("sheet.toml", sheet_text(self.plan, self.base, known, name))


@public
def excite(
    rig: RigLike = "wrist", parts: Sequence[str] = ("valve", "tube", "cuff", "transducer", "timing"), *,
    ceiling_mmHg: float = 250.0, rate_Hz: float = 5000.0, seconds: float = 12.0, play: RigLike | None = None,
    seed: int = 1,
) -> ExciteResult:
    """Plan commands to be played on a bench with a rig: the best pieces for some of its parts, for time and ceiling.

    Args:
        rig: what the rig is believed to be: name, path of a rig file, or what `load_rig` returned.
        parts: some of valve, tube, cuff, transducer, supply, timing; response, for margins on measured data; or light
            alone, for the light path and the artery in it (lamp on a phantom, ramp on a finger).
        ceiling_mmHg: pressure that must not be passed, 50 … 1000; pieces are planned to stay below 0.6 of it.
        rate_Hz: of the command and of what is recorded, 200 … 50000.
        seconds: for all pieces together, 1 … 600.
        play: a rig that plays them on a virtual bench, with its noise and converter; None: commands only.
        seed: of phases and noise.

    Returns:
        An ExciteResult: `plan.pieces` with their commands; `save(folder)` writes command files and `sheet.toml`.

    Raises:
        InputError: no such part, a number out of range, too little time.

    >>> import cuffloop
    >>> found = cuffloop.excite("cabinet", ["valve"], seconds=3)
    >>> sum(len(piece.command) * piece.period_s for piece in found.plan.pieces) <= 3.0
    True
    """
    bounded("--ceiling", ceiling_mmHg, 50.0, 1000.0, "mmHg")
    bounded("--rate", rate_Hz, 200.0, 50_000.0, "Hz")
    bounded("--seconds", seconds, 1.0, LONGEST_s, "s")
    bounded("--seed", seed, 0, 2**31)
    made = rig_of(rig)
    wanted = list(dict.fromkeys(parts))
    if LIGHT in wanted and len(wanted) > 1:
        raise InputError(f"--for {','.join(wanted)}: light has a plan and a sheet of its own; ask for it alone")
    plan = light_plan(made, ceiling_mmHg, seed) if wanted == [LIGHT] else plan_for(
        made, wanted, ceiling_mmHg, rate_Hz, seconds, seed)
    base = made.given[0] if made.given else made.base
    return ExciteResult(plan, base, None if play is None else rig_of(play), seed, told=provenance(seed))


@dataclass(frozen=True, eq=False, repr=False)
class IdentifyResult(Result):
    """What `identify` found: numbers with uncertainties, what is left over, margins, what would help."""

    account: Account

    @property
    def passed(self) -> bool:
        """Whether the recordings are explained and every number that was looked for is told."""
        return self.account.found.fits and self.account.found.all_told

    @property
    def rig(self) -> Rig:
        """The rig that was found: what is not told stays as it was believed."""
        return rig_found(self.account.source, self.account.found)

    @property
    def file_name(self) -> str:
        """identify."""
        return "identify"

    def lines(self) -> list[str]:
        """Tables of numbers and of what is left over."""
        return account_lines(self.account)

    def document(self) -> dict[str, Any]:
        """The same as plain data."""
        return account_json(self.account) | dict(self.told)

    def pictures(self) -> dict[str, Callable[[], Any]]:
        """fit."""
        from experiments.identify.outcome.pictures import fit_figure

        return {"fit": lambda: fit_figure(self.account)}

    def to_xarray(self) -> xarray.Dataset:
        """Numbers with their covariance over `number`, tests over `course`."""
        from experiments.identify.outcome.dataset import account_dataset

        dataset: xarray.Dataset = account_dataset(self.account, self.attributes())
        return dataset

    def write(self, folder: OutputFolder) -> None:
        """The document, the picture, labelled data, and a rig file where there is one."""
        super().write(folder)
        folder.write_netcdf("identify.nc", self.to_xarray())
        account = self.account
        if account.writes_a_rig:
            folder.write_text(f"{account.name}.toml",
                              rig_text(account.found, account.source, account.name, account.hashes))


@public
def identify(
    sheet: str | Path, *, base: str | Path | None = None, free: Sequence[str] = USUAL,
    known: Mapping[str, tuple[float, float]] | None = None, starts: int = 4, full: bool = True,
    accept_misfit: bool = False, seed: int = 1,
) -> IdentifyResult:
    """Find the numbers of a rig in recordings from a bench.

    Args:
        sheet: file (`.toml`) that names the recordings and says what was played; `excite` writes one.
        base: the rig that is believed in; None: the sheet's.
        free: what is looked for: some of valve, tube, cuff, transducer, timing, supply, or dotted names; of a sheet
            with lamp and ramp the light path and the artery, or dotted names of those.
        known: numbers that were measured otherwise, as {"cuff.volume_mL": (2.5, 0.05)}: value and standard uncertainty.
        starts: searches at most, 1 … 50; the first is from the base, others follow where it does not arrive.
        full: profile likelihoods, and which further recording helps; False takes half the time.
        accept_misfit: write a rig file although the recordings are not explained.
        seed: of the starts.

    Returns:
        An IdentifyResult: `rig`, ready for `check` and `margins`; `account.found.found`, one for each number with
        `value`, `sd`, `interval` and whether it is `told`; `save(folder)` writes `found.toml`.

    Raises:
        InputError: a sheet or recording that cannot be used, a number that no rig has.

    >>> import cuffloop, tempfile
    >>> folder = tempfile.mkdtemp()
    >>> names = cuffloop.excite("cabinet", ["timing"], seconds=3, play="cabinet", rate_Hz=2000).save(folder)
    >>> found = cuffloop.identify(f"{folder}/sheet.toml", free=["timing"], full=False)
    >>> found.passed, abs(found.rig.timing.dead_time_s - 0.001) < 2e-5
    (True, True)
    """
    bounded("--starts", starts, 1, MOST_STARTS)
    bounded("--seed", seed, 0, 2**31)
    read = read_sheet(Path(sheet))
    source = _source(read, base)
    rig = source.rig()
    measured = {**read.known, **{name: Known(*pair) for name, pair in (known or {}).items()}}
    recordings = read_recordings(read)
    light = any(one.played in (LAMP, RAMP) for one in recordings)
    problem, held = light_problem(rig, measured, free, recordings) if light else air_problem(
        rig, measured, free, recordings)
    if not problem.free:
        raise InputError("--free: nothing is left to look for")
    if len(problem.free) + len(held) > 15:
        raise InputError(f"--free: {len(problem.free)} numbers and {len(held)} known ones; at most 15 at once")
    found = identified(problem, held, seed, starts, full, watcher())
    fine = with_steps(problem, found.solution.x, FINE)
    ratio = max(left.ratio for left in found.leftovers)
    account = Account(
        found, source, "found", margin_bands(found, source, seed, light=light) if found.fits or accept_misfit else (),
        () if found.fits else tuple(suspects(fine, found.solution.x, ratio)), (),
        {one.name: one.sha256 for one in recordings}, accept_misfit)
    if full and found.fits and not light:
        account = account._replace(further=tuple(further(found, rig_found(source, found))))
    return IdentifyResult(account, told=provenance(seed))


def _source(sheet: Sheet, base: str | Path | None) -> Source:
    """The rig that is believed in: a name, or a file that a sheet names beside itself."""
    name = str(base) if base is not None else sheet.base
    if base is None and name not in built_in_rigs() and name.endswith(".toml"):
        beside = sheet.path.parent / name
        name = str(beside) if beside.exists() else name
    return read_rig(name)


def air_problem(
    rig: Rig, measured: Mapping[str, Known], free: Sequence[str], recordings: Sequence[Recording]
) -> tuple[Problem, list[Held]]:
    """What is looked for in recordings of the pneumatics, and what is held. Raises InputError."""
    held = held_numbers(rig, measured, tuple(free))
    problem = Problem(bench_of(rig), free_for(rig, free, [h.free.name for h in held]),
                      tuple((h.free, h.value) for h in held), tuple(recordings))
    for one in recordings:
        if not problem.channels(one):
            raise InputError(f"{one.name}: holds no pressure or flow; nothing of the pneumatics is told by it")
    check_units(problem._replace(free=()))
    return problem, held


def light_problem(
    rig: Rig, measured: Mapping[str, Known], free: Sequence[str], recordings: Sequence[Recording]
) -> tuple[Problem, list[Held]]:
    """The same for a lamp on a phantom and a ramp on a finger. Raises InputError."""
    bench = LightBench(rig)
    held = [held_number(free_of(rig, name, LIGHT_TABLES), name, one) for name, one in measured.items()]
    for name, share in BELIEVED.items():
        value = value_of(rig, name)
        if name not in measured and name not in free:
            held.append(Held(free_of(rig, name, LIGHT_TABLES), value, share * max(value, 0.1), True))
    usual = tuple(free) in (USUAL, (LIGHT,))
    names = [name for name in (USUAL_LIGHT if usual else free) if name not in measured]
    return Problem(bench, tuple(free_of(rig, name, LIGHT_TABLES) for name in names),
                   tuple((h.free, h.value) for h in held), tuple(prepared(bench, recordings))), held


def held_number(number: Free, name: str, one: Known) -> Held:
    """A number as it was measured. Raises InputError."""
    if not number.low <= one.value <= number.high:
        raise InputError(f"--known {name} = {one.value:g} must be from {number.low:g} to {number.high:g} {number.unit}")
    return Held(number, one.value, one.sd, False)


def held_numbers(rig: Rig, measured: Mapping[str, Known], free: tuple[str, ...]) -> list[Held]:
    """What is held: all that was measured, and the cuff's volume as it is believed where nobody has measured it."""
    held = [held_number(free_of(rig, name), name, one) for name, one in measured.items()]
    if ANCHOR not in measured and ANCHOR not in free:
        value = value_of(rig, ANCHOR)
        held.append(Held(free_of(rig, ANCHOR), value, ASSUMED_SHARE * value, True))
    return held
