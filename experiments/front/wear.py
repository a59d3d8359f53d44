"""`cuffloop.wear`: whether a plan of turns keeps to its limits, and what each finger bears."""
from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from calibrate.wear import FingerAccount, Refusal, WearLimits, WearPlan, check_plan, wear_account
from experiments.calibration.wear.dataset import wear_dataset
from experiments.calibration.wear.text import wear_json, wear_lines
from experiments.front.public import public
from experiments.front.result import Result
from experiments.work.output import provenance
from plant.errors import InputError
from plant.validate import validated

if TYPE_CHECKING:
    import xarray

CUFF_mmHg = (0.0, 400.0)
USUAL_TURN_min: float = WearPlan._field_defaults["turn_min"]


@dataclass(frozen=True, eq=False, repr=False)
class WearResult(Result):
    """What `wear` says of a plan: what each finger bears, and the reasons why it is refused."""

    plan: WearPlan
    mean_mmHg: float
    limits: WearLimits
    accounts: tuple[FingerAccount, ...]
    reasons: list[str]

    @property
    def passed(self) -> bool:
        """Whether the plan is accepted."""
        return not self.reasons

    @property
    def file_name(self) -> str:
        """wear."""
        return "wear"

    def lines(self) -> list[str]:
        """The verdict, its reasons, and a line a finger."""
        return wear_lines(self.plan, self.mean_mmHg, self.accounts, self.reasons)

    def document(self) -> dict[str, Any]:
        """The same as plain data."""
        return wear_json(self.plan, self.mean_mmHg, self.limits, self.accounts, self.reasons) | dict(self.told)

    def pictures(self) -> dict[str, Callable[[], Any]]:
        """wear."""
        from experiments.calibration.wear.pictures import wear_figure

        return {"wear": lambda: wear_figure(self.plan, self.mean_mmHg, self.limits)}

    def to_xarray(self) -> xarray.Dataset:
        """What each finger bears, over `finger`."""
        dataset: xarray.Dataset = wear_dataset(self.accounts, self.attributes())
        return dataset


@public
def wear(
    hours: float, fingers: int, *, turn_min: float = USUAL_TURN_min, pause_min: float = 0.0, mean_mmHg: float = 90.0,
    limits: Mapping[str, float] | None = None,
) -> WearResult:
    """Judge a plan of wear by hours, rest and pressure–time integral.

    Limits that are not given are invented, and no statement about what a finger stands.

    Args:
        hours: from the first turn to the last [h].
        fingers: with a cuff, 1 or 2.
        turn_min: under pressure before the other finger's turn [min].
        pause_min: between two turns, no finger under pressure [min].
        mean_mmHg: mean cuff pressure [mmHg], 0 … 400.
        limits: some of `one_finger_h`, `two_fingers_h`, `turn_min`, `rest_min`, `load_mmHg_h`.

    Returns:
        A WearResult: `passed`, `reasons`, `accounts` (a finger's hours, longest stretch, least rest, mmHg·h);
        `to_xarray()` over `finger` with units; `plot()` with the figure `wear`; `to_json()`, `save(folder)`.

    Raises:
        InputError: a number out of its range.

    >>> import cuffloop
    >>> cuffloop.wear(12, 1).reasons[0].startswith("12 h"), cuffloop.wear(12, 2).passed
    (True, True)
    >>> cuffloop.wear(12, 1, limits={"one_finger_h": 14}).passed
    True
    """
    plan: WearPlan = validated(
        WearPlan, {"duration_h": hours, "fingers": fingers, "turn_min": turn_min, "pause_min": pause_min},
        "wear plan", "plan")
    if not CUFF_mmHg[0] <= mean_mmHg <= CUFF_mmHg[1]:
        raise InputError(f"--mean {mean_mmHg:g} must be from {CUFF_mmHg[0]:g} to {CUFF_mmHg[1]:g} mmHg")
    held: WearLimits = validated(WearLimits, dict(limits or {}), "wear plan", "limits")
    verdict, accounts = check_plan(plan, held, mean_mmHg), wear_account(plan, mean_mmHg)
    reasons = list(verdict.reasons) if isinstance(verdict, Refusal) else []
    return WearResult(plan, mean_mmHg, held, accounts, reasons, told=provenance(None))
