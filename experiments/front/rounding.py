"""`cuffloop.rounding`: what word length a rig's law needs in fixed point."""
from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from experiments.design.rounding import study
from experiments.design.rounding.dataset import rounding_dataset
from experiments.design.rounding.text import rounding_json, rounding_lines
from experiments.front.inputs import RecordLike, RigLike, bounded, pressure_on, rig_of
from experiments.front.public import public
from experiments.front.result import Result
from experiments.work.output import provenance
from experiments.work.progress import watcher

if TYPE_CHECKING:
    import xarray

LOW_mmHg, HIGH_mmHg = 1.0, 1024.0


@dataclass(frozen=True, eq=False, repr=False)
class RoundingResult(Result):
    """What `rounding` found: every word length, and the one to take."""

    found: study.Rounding

    @property
    def passed(self) -> bool:
        """Whether some length is long enough."""
        return self.found.recommended is not None

    @property
    def file_name(self) -> str:
        """rounding."""
        return "rounding"

    def lines(self) -> list[str]:
        """The recommendation, and a line a length."""
        return rounding_lines(self.found)

    def document(self) -> dict[str, Any]:
        """The same as plain data."""
        return rounding_json(self.found) | dict(self.told)

    def pictures(self) -> dict[str, Callable[[], Any]]:
        """rounding."""
        from experiments.design.rounding.pictures import rounding_figure

        return {"rounding": lambda: rounding_figure(self.found)}

    def to_xarray(self) -> xarray.Dataset:
        """Figures over `bits`; predicted parts over `side` and `place`, too."""
        dataset: xarray.Dataset = rounding_dataset(self.found, self.attributes())
        return dataset


@public
def rounding(
    rig: RigLike = "wrist", words: str | Sequence[int] = "12:32", record: RecordLike = None, *,
    seconds: float | None = None, start_s: float = 0.0, range_mmHg: float | None = None, seed: int = 1,
) -> RoundingResult:
    """What word length a rig's law needs in fixed point: noise added, blind errors, dead bands, margins, stalls.

    Args:
        rig: name, path of a rig file, or what `load_rig` returned.
        words: lengths in bits, 8 … 32: `"12:32"`, `"12:32:2"` or a list.
        record: arterial pressure: a file, `"pig"`, `"synthetic"`, or what `read_record` returned.
        seconds: use only this much of it.
        start_s: start this far into it.
        range_mmHg: error at which its word saturates, 1 … 1024; None: from a run, 64 at least.
        seed: of all noise.

    Returns:
        A RoundingResult: `found.recommended`, `found.lengths`; `to_xarray()` over `bits` with units; `plot()` with the
        figure `rounding`; `to_json()`, `save(folder)`. `passed` is False when no length is long enough.

    Raises:
        InputError: lengths out of range, a rig that does not hold its clamp, a range that no length can hold.

    >>> import cuffloop
    >>> result = cuffloop.rounding("cabinet", [12, 16], "synthetic", seconds=10)
    >>> result.found.recommended
    16
    """
    lengths = study.word_lengths(words if isinstance(words, str) else ",".join(map(str, words)))
    if range_mmHg is not None:
        bounded("--range", range_mmHg, LOW_mmHg, HIGH_mmHg, "mmHg")
    own = rig_of(rig)
    trace = pressure_on(own, record, seconds, start_s, seed)
    return RoundingResult(study.study(own, trace, lengths, range_mmHg, seed, watcher()), told=provenance(seed))
