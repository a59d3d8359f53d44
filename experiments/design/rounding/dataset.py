"""A study of word lengths as labelled data."""
from __future__ import annotations

from typing import Any

import numpy as np

from controller.fixed.noise import PLACES
from experiments.design.rounding.study import Rounding

COLUMNS = {  # of a Length: unit and meaning
    "added_mmHg": ("mmHg", "rms of cuff pressure added by rounding, measured in the loop"),
    "predicted_mmHg": ("mmHg", "the same, predicted for the worse side of the valve"),
    "blind_mmHg": ("mmHg", "steady error that leaves nothing behind the filters"),
    "blind_narrow_mmHg": ("mmHg", "the same if the integral were a word"),
    "modulus_change": ("1", "change of the modulus margin by rounded coefficients"),
    "phase_change_deg": ("°", "change of the phase margin by rounded coefficients"),
    "saturated_share": ("1", "ticks with error or demand at the end of its word"),
}


def rounding_dataset(found: Rounding, attributes: dict[str, str]) -> Any:
    """An xarray Dataset over `bits`, and over `side` and `place` for the predicted parts."""
    import xarray

    data: dict[str, Any] = {
        name: ("bits", np.array([getattr(one, name) for one in found.lengths], float),
               {"units": unit, "long_name": meaning}) for name, (unit, meaning) in COLUMNS.items()}
    sides = list(found.margins)
    parts = [[[getattr(one.predicted[side], place) for place in PLACES] for side in sides] for one in found.lengths]
    data["predicted_by_place_mmHg"] = (("bits", "side", "place"), np.array(parts, float), {
        "units": "mmHg", "long_name": "rms predicted of each word's rounding"})
    data["servo_error_mmHg"] = ((), found.servo_mmHg, {"units": "mmHg", "long_name": "rms error of the servo"})
    data["floor_mmHg"] = ((), found.floor_mmHg, {
        "units": "mmHg", "long_name": "rms between runs in doubles whose converters' last bits differ"})
    return xarray.Dataset(data, {"bits": [one.words for one in found.lengths], "side": sides, "place": list(PLACES)},
                          attributes | {"recommended_bits": str(found.recommended)})
