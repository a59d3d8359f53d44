"""Venous blood under the cuff: squeezed out by pressure, refilled over seconds.

    dv/dt = (v∞ − v)/τ,   v∞ = v_least + (1 − v_least) e^{−p_ext/p_v},   τ shorter when emptying than when filling
"""
from __future__ import annotations

from typing import Annotated, NamedTuple

from plant.declare import compiled, quantity
from plant.linear import Linear, linear
from plant.numerics.elementary import exp


class Vein(NamedTuple):
    """Veins and venules under the cuff; volume as a fraction of that without cuff pressure."""

    least_volume: Annotated[float, quantity("1", 0, 1, "volume that cannot be squeezed out", "invented")] = 0.2
    squeeze_mmHg: Annotated[float, quantity("mmHg", 1, 200, "pressure that empties to 1/e (p_v)", "invented")] = 20.0
    emptying_s: Annotated[float, quantity("s", 0.05, 100, "time constant of emptying", "invented")] = 1.5
    filling_s: Annotated[float, quantity("s", 0.05, 300, "time constant of refilling", "invented: seconds")] = 6.0


@compiled
def vein_target(vein: Vein, external_mmHg: float) -> float:
    """Resting venous volume (fraction) under an external pressure [mmHg]."""
    return vein.least_volume + (1.0 - vein.least_volume) * exp(-max(external_mmHg, 0.0) * (1.0 / vein.squeeze_mmHg))


@compiled
def vein_rate(vein: Vein, volume: float, external_mmHg: float) -> float:
    """Rate of venous volume [1/s]."""
    change = vein_target(vein, external_mmHg) - volume
    return max(change, 0.0) * (1.0 / vein.filling_s) + min(change, 0.0) * (1.0 / vein.emptying_s)


def linear_twin(vein: Vein, external_mmHg: float) -> Linear:
    """Twin from `external_pressure` to `venous_volume` at rest, with the emptying time constant.

    Emptying and filling differ, so the twin describes the emptying side; at arterial pressures its gain is next to
    nothing, and both are far below crossover.
    """
    slope = 0.0
    if external_mmHg > 0.0:
        slope = -(1.0 - vein.least_volume) / vein.squeeze_mmHg * float(exp(-external_mmHg / vein.squeeze_mmHg))
    return linear(-1.0 / vein.emptying_s, slope / vein.emptying_s, 1.0, 0.0, "external_pressure", "venous_volume",
                  "venous_volume")
