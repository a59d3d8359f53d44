"""Tissue coupling: how cuff pressure reaches the artery.  dp_ext/dt = (η p_cuff − p_ext)/τ."""
from __future__ import annotations

from typing import Annotated, NamedTuple

from plant.declare import compiled, quantity
from plant.linear import Linear, linear


class Tissue(NamedTuple):
    """Soft tissue between bladder and artery."""

    transmission: Annotated[
        float, quantity("1", 0.3, 1.0, "share of cuff pressure at the artery (η)", "ideal fit; less when loose")
    ] = 1.0
    lag_s: Annotated[float, quantity("s", 1e-4, 0.1, "time constant of the tissue", "invented")] = 0.0008


@compiled
def tissue_rate(tissue: Tissue, external_mmHg: float, cuff_mmHg: float) -> float:
    """Rate of the external pressure at the artery [mmHg/s]."""
    return (tissue.transmission * cuff_mmHg - external_mmHg) * (1.0 / tissue.lag_s)


def linear_twin(tissue: Tissue) -> Linear:
    """Twin from `cuff_pressure` to `external_pressure`, both mmHg, about any operating point."""
    pole = 1.0 / tissue.lag_s
    return linear(-pole, tissue.transmission * pole, 1.0, 0.0, "cuff_pressure", "external_pressure",
                  "external_pressure")
