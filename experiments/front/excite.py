"""`cuffloop.excite`: commands to be played on a bench, so that what is recorded tells most of a rig."""
from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from experiments.front.inputs import RigLike, bounded, rig_of
from experiments.front.public import public
from experiments.front.result import Result
from experiments.identify.excite.files import command_text, recording_text, sheet_text
from experiments.identify.excite.plan import Plan, plan_for, play_all
from experiments.identify.excite.text import plan_json, plan_lines
from experiments.rigs.rig import Rig
from experiments.work.output import OutputFolder, provenance

if TYPE_CHECKING:
    import xarray

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
        for piece in self.plan.pieces:
            folder.write_text(f"{piece.played}_command.csv", command_text(piece))
        known = []
        if self.player is not None:
            played = play_all(self.player, self.plan.pieces, self.seed)
            for piece, channels in zip(self.plan.pieces, played, strict=True):
                folder.write_text(f"{piece.played}.csv", recording_text(piece, channels))
            volume = self.player.plant.cuff.volume_mL
            off = SYRINGE * float(np.random.Generator(np.random.PCG64(self.seed)).standard_normal())
            known = [f'"cuff.volume_mL" = {{ value = {volume * (1.0 + off):.5g}, sd = {SYRINGE * volume:.3g} }}']
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
        parts: some of valve, tube, cuff, transducer, supply, timing.
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
    plan = plan_for(made, list(dict.fromkeys(parts)), ceiling_mmHg, rate_Hz, seconds, seed)
    base = made.given[0] if made.given else made.base
    return ExciteResult(plan, base, None if play is None else rig_of(play), seed, told=provenance(seed))
