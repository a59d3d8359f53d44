"""How fingers differ: every distribution of the virtual populations, its bounds, source, groups and correlations.

Nearly all of it is invented, as no publication known to us gives these spreads for fingers; where a range is published
or from memory, the source says so.
"""
from __future__ import annotations

from typing import Literal, NamedTuple

Shape = Literal["normal", "lognormal", "uniform", "loguniform"]
RHYTHM = "rhythm"  # one scale that sorts fingers into ectopic, irregular and regular; the spread is its share
PULSE = "pulse_share"  # pulse pressure over systolic pressure
ECTOPIC_FINGERS = 0.05  # share of fingers with ectopic beats: by intention
IRREGULAR_FINGERS = 0.02  # share of fingers without a regular rhythm: invented
PULSE_mmHg = (20.0, 90.0)  # bounds of pulse pressure (plausible in adults, from memory)


class Spread(NamedTuple):
    """One distribution, cut at its bounds. For the logarithmic shapes `sd` is that of the natural logarithm."""

    key: str  # part and parameter of a finger
    unit: str
    shape: Shape
    middle: float  # centre of the uncut distribution; not used by the uniform shapes
    sd: float
    low: float
    high: float
    source: str


IRREGULAR = Spread("pressure.irregular", "1", "uniform", 0.65, 0, 0.3, 1.0, "invented")  # of the irregular ones
_MIXED = (
    Spread("wearer.age_years", "years", "uniform", 55, 0, 20, 90, "invented"),
    Spread("tone.level", "1", "normal", 0.3, 0.55, -0.5, 1.5, "invented"),
    Spread("pressure.systolic_mmHg", "mmHg", "normal", 122, 38, 60, 200, "range by intention, spread invented"),
    Spread(PULSE, "1", "normal", 0.38, 0.07, 0.25, 0.55, "pulse over systolic pressure: invented"),
    Spread("pressure.rate_per_min", "1/min", "normal", 78, 28, 40, 150, "inside 30–220 in adults, from memory"),
    Spread("artery.half_width_mmHg", "mmHg", "lognormal", 15, 0.28, 7, 30, "invented"),
    Spread("artery.maximal_area", "1", "lognormal", 1.0, 0.28, 0.45, 2.0, "invented"),
    Spread("artery.unloaded_mmHg", "mmHg", "normal", 5, 4, -5, 15, "invented: near low positive"),
    Spread("artery.fast_fraction", "1", "normal", 0.5, 0.08, 0.33, 0.7, "Busse et al. 1982 by tone; spread invented"),
    Spread("artery.tone_viscosity", "1", "normal", 1.1, 0.15, 0.8, 1.5, "Busse et al. 1982; spread invented"),
    Spread("artery.collapse_ratio", "1", "lognormal", 0.6, 0.3, 0.25, 1.1, "0.27 Babbs 2012, 0.46 exponential–linear"),
    Spread("segment.outer_speed_m_s", "m/s", "lognormal", 8.0, 0.2, 5, 12, "6–10 m/s, from memory; spread invented"),
    Spread("segment.diameter_mm", "mm", "lognormal", 1.2, 0.2, 0.7, 1.8, "0.8–1.8 mm along a finger, from memory"),
    Spread("artery.creep_time_s", "s", "lognormal", 4, 0.45, 2, 10, "invented"),
    Spread("artery.tone_area", "1", "normal", 0.7, 0.12, 0.4, 1.0, "invented"),
    Spread("artery.tone_shift_mmHg", "mmHg", "normal", 8, 2, 3, 13, "invented"),
    Spread("artery.tone_stiffening", "1", "normal", 0.4, 0.1, 0.15, 0.65, "invented"),
    Spread("vein.least_volume", "1", "uniform", 0.25, 0, 0.1, 0.4, "invented"),
    Spread("vein.squeeze_mmHg", "mmHg", "lognormal", 20, 0.3, 8, 40, "invented"),
    Spread("vein.emptying_s", "s", "lognormal", 1.5, 0.35, 0.6, 4, "invented: seconds"),
    Spread("vein.filling_s", "s", "lognormal", 6, 0.4, 2, 20, "invented: seconds"),
    Spread("light.transmission", "1", "loguniform", 0.2, 0, 0.05, 0.8, "invented"),
    Spread("light.arterial_path_cm", "cm", "lognormal", 0.016, 0.45, 0.004, 0.06,
           "AC/DC mostly 0.5–8 % at its best; 0.5–5 %, 0.1–20 % with tone, from memory"),
    Spread("light.venous_path_cm", "cm", "lognormal", 0.02, 0.45, 0.005, 0.08, "invented"),
    Spread("light.ambient", "1", "uniform", 0.03, 0, 0.0, 0.06, "invented"),
    Spread("light.noise", "1", "loguniform", 3e-5, 0, 1e-5, 1e-4, "invented"),
    Spread("fit.transmission", "1", "normal", 0.985, 0.02, 0.93, 1.0, "invented"),
    Spread("fit.slack", "1", "normal", 0.05, 0.1, -0.1, 0.25, "invented"),
    Spread(RHYTHM, "1", "uniform", 0.08, 0, 0.02, 0.15, "invented"),
    Spread("pressure.respiration_per_min", "1/min", "normal", 15, 4, 9, 24, "0.15–0.4 Hz: Task Force 1996"),
    Spread("pressure.respiration_mmHg", "mmHg", "uniform", 3, 0, 0, 6, "invented"),
    Spread("pressure.respiration_pulse", "1", "uniform", 0.04, 0, 0, 0.08, "invented"),
    Spread("pressure.respiration_interval", "1", "uniform", 0.04, 0, 0, 0.08, "invented"),
    Spread("pressure.wave_mmHg", "mmHg", "uniform", 2.5, 0, 0, 5, "2–6, from memory; less at rest: invented"),
    Spread("pressure.wave_Hz", "Hz", "normal", 0.1, 0.01, 0.08, 0.12, "about 0.1 Hz: Julien 2006; spread invented"),
    Spread("pressure.interval_sd", "1", "loguniform", 0.015, 0, 0.005, 0.04, "invented"),
    Spread("tone.wander", "1", "uniform", 0.06, 0, 0.02, 0.1, "invented"),
    Spread("tone.wander_time_s", "s", "loguniform", 200, 0, 100, 400, "invented"),
    Spread("tone.wave", "1", "uniform", 0.03, 0, 0, 0.06, "invented"),
)

# of normal scores; all invented, in the directions that one would expect: arteries stiffen and pulses grow with age,
# constriction goes with small arteries and little venous blood, thick fingers have long paths and pass little light,
# loose wraps couple less
CORRELATIONS: dict[tuple[str, str], float] = {
    ("wearer.age_years", "artery.half_width_mmHg"): 0.5,
    ("wearer.age_years", PULSE): 0.5,
    ("wearer.age_years", "pressure.systolic_mmHg"): 0.25,
    ("wearer.age_years", "pressure.rate_per_min"): -0.15,
    ("wearer.age_years", RHYTHM): -0.3,  # low on this scale: ectopic
    ("wearer.age_years", "pressure.respiration_interval"): -0.4,
    ("artery.half_width_mmHg", PULSE): 0.4,
    ("pressure.rate_per_min", PULSE): -0.2,
    ("tone.level", "artery.maximal_area"): -0.35,
    ("tone.level", "light.arterial_path_cm"): -0.25,
    ("tone.level", "light.venous_path_cm"): -0.3,
    ("tone.level", "light.transmission"): 0.2,
    ("artery.maximal_area", "light.arterial_path_cm"): 0.3,
    ("light.transmission", "light.arterial_path_cm"): -0.3,
    ("light.transmission", "light.venous_path_cm"): -0.3,
    ("light.arterial_path_cm", "light.venous_path_cm"): 0.5,
    ("light.transmission", "light.ambient"): 0.2,
    ("fit.transmission", "fit.slack"): -0.5,
}

# what a group changes of the mixed population: (middle, sd, low, high), all invented
GROUPS: dict[str, dict[str, tuple[float, float, float, float]]] = {
    "mixed": {},
    "young": {
        "wearer.age_years": (27, 0, 18, 35), "artery.half_width_mmHg": (12, 0.2, 7, 20),
        PULSE: (0.35, 0.05, 0.25, 0.48), "pressure.systolic_mmHg": (115, 14, 85, 150),
        "pressure.respiration_interval": (0.07, 0, 0.04, 0.1), RHYTHM: (0.03, 0, 0.02, 0.04),
    },
    "old": {
        "wearer.age_years": (77, 0, 65, 90), "artery.half_width_mmHg": (20, 0.2, 12, 32),
        PULSE: (0.45, 0.06, 0.3, 0.58), "pressure.systolic_mmHg": (142, 24, 90, 200),
        "pressure.respiration_interval": (0.015, 0, 0, 0.03), "artery.fast_fraction": (0.45, 0.07, 0.3, 0.6),
    },
    "cold": {
        "tone.level": (1.3, 0.3, 0.8, 2.0), "tone.wander": (0.08, 0, 0.04, 0.12),
        "light.venous_path_cm": (0.013, 0.4, 0.004, 0.04),
    },
    "warm": {
        "tone.level": (-0.6, 0.25, -1.0, -0.1), "light.venous_path_cm": (0.032, 0.4, 0.01, 0.1),
        "vein.filling_s": (4, 0.35, 1.5, 10),
    },
    "low_perfusion": {
        "tone.level": (1.0, 0.3, 0.5, 1.6), "artery.maximal_area": (0.65, 0.2, 0.4, 1.0),
        "light.arterial_path_cm": (0.009, 0.3, 0.004, 0.02), "pressure.systolic_mmHg": (92, 14, 70, 130),
        PULSE: (0.3, 0.05, 0.22, 0.42), "light.noise": (1.5e-5, 0, 1e-5, 3e-5),
    },
}


def spreads_of(group: str) -> tuple[Spread, ...]:
    """The distributions of a group, in the order of Sobol's dimensions: what matters most comes first."""
    return tuple(_changed(spread, GROUPS[group].get(spread.key)) for spread in _MIXED)


def _changed(spread: Spread, change: tuple[float, float, float, float] | None) -> Spread:
    if change is None:
        return spread
    middle, sd, low, high = change
    return spread._replace(middle=middle, sd=sd, low=low, high=high, source="invented")
