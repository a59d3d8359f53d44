"""An identification as labelled data."""
from __future__ import annotations

from typing import Any

import numpy as np

from experiments.identify.outcome.account import Account


def account_dataset(account: Account, attributes: dict[str, str]) -> Any:
    """An xarray Dataset over `number` (with `other` for the covariance) and `course`."""
    import xarray

    found = account.found
    names = [*(one.free.name for one in found.found), *(h.free.name for h in found.held)]
    values = [*(one.value for one in found.found), *(h.value for h in found.held)]
    sds = [*(one.sd for one in found.found), *(h.sd for h in found.held)]
    told = [*(one.told for one in found.found), *(False for _ in found.held)]
    data = {
        "estimate": ("number", values, {"units": "as the rig has it", "long_name": "found, or held"}),
        "standard_uncertainty": ("number", sds, {"units": "as the rig has it"}),
        "told": ("number", np.array(told, int), {"units": "1", "long_name": "1 where the recordings tell it"}),
        "covariance": (("number", "other"), found.covariance, {
            "units": "1", "long_name": "of logarithms, or of shares of the range where a number may be zero"}),
        "residual_ratio": ("course", [left.ratio for left in found.leftovers], {
            "units": "1", "long_name": "mean square of what is left over, by the noise's variance"}),
        "whiteness_p": ("course", [left.white_p for left in found.leftovers], {"units": "1"}),
        "command_p": ("course", [left.command_p for left in found.leftovers], {"units": "1"}),
    }
    courses = [f"{left.recording}:{left.channel}" for left in found.leftovers]
    return xarray.Dataset(data, {"number": names, "other": names, "course": courses}, attributes)
