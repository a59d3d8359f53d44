"""`cuffloop.agree`: how well two methods of measurement agree."""
from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from experiments.front.inputs import bounded
from experiments.front.public import public
from experiments.front.result import Result
from experiments.readings.agreement.dataset import agree_dataset
from experiments.readings.agreement.study import Agreed, Question, agreed
from experiments.readings.agreement.tables import VALUE, read_measured
from experiments.readings.agreement.text import agree_json, agree_lines
from experiments.work.output import provenance

if TYPE_CHECKING:
    import xarray


@dataclass(frozen=True, eq=False, repr=False)
class AgreeResult(Result):
    """What `agree` found: limits of agreement, percentage error, trending, criteria."""

    found: Agreed

    @property
    def file_name(self) -> str:
        """agree."""
        return "agree"

    def lines(self) -> list[str]:
        """Limits of agreement, percentage error beside the null predictor, trending, criteria."""
        return agree_lines(self.found)

    def document(self) -> dict[str, Any]:
        """The same as plain data."""
        return agree_json(self.found) | dict(self.told)

    def pictures(self) -> dict[str, Callable[[], Any]]:
        """agreement and, where subjects have several pairs, trending."""
        from experiments.readings.agreement.pictures import agree_figures

        return agree_figures(self.found)

    def to_xarray(self) -> xarray.Dataset:
        """The pairs over `pair`, figures as scalars."""
        dataset: xarray.Dataset = agree_dataset(self.found, self.attributes())
        return dataset


@public
def agree(
    tested: str | Path, reference: str | Path, *, column: str = VALUE, unit: str = "", truth: str = "changing",
    zone: float | None = None, reference_precision: float | None = None, standard: bool = False,
) -> AgreeResult:
    """Agreement of two CSV files of measurements, `subject,value` and, if wanted, `time_s`.

    Args:
        tested: file of the method that is tested.
        reference: file of the method it is held against.
        column: name of the column with the values.
        unit: of the values, for tables and pictures.
        truth: `changing` from pair to pair within a subject, or `constant`.
        zone: of exclusion for trending, in the unit; None: 15 % of the level.
        reference_precision: what is known of the reference, as a share, 0 … 1.
        standard: judge by criteria 1 and 2 of ISO 81060-2; the values are in mmHg.

    Returns:
        An AgreeResult: `found.plain`, `found.repeated` (limits of agreement), `found.percentage`, `found.trending`,
        `found.criteria`; `plot()` with the figures `agreement` and `trending`; `to_xarray()`, `save(folder)`.

    Raises:
        InputError: a file that cannot be read or paired, a number out of range.

    >>> import cuffloop, pathlib, tempfile
    >>> folder = pathlib.Path(tempfile.mkdtemp())
    >>> _ = (folder / "a.csv").write_text("subject,value\\n1,5\\n1,6\\n2,4\\n2,4.5\\n")
    >>> _ = (folder / "b.csv").write_text("subject,value\\n1,5.5\\n1,6\\n2,4\\n2,5\\n")
    >>> round(cuffloop.agree(folder / "a.csv", folder / "b.csv").found.plain.bias, 3)
    -0.25
    """
    if zone is not None:
        bounded("--zone", zone, 0.0, 1e9)
    if reference_precision is not None:
        bounded("--reference-precision", reference_precision, 0.0, 1.0)
    question = Question(unit or ("mmHg" if standard else ""), truth, math.nan if zone is None else zone,
                        math.nan if reference_precision is None else reference_precision, standard)
    found = agreed(read_measured(Path(tested), column), read_measured(Path(reference), column), question)
    return AgreeResult(found, told=provenance(None))
