"""Populations of virtual fingers: correlated spreads, sampled with low discrepancy, the same bits for the same seed.

Scrambled Sobol points (Sobol 1967; Owen 1998) go through a Gaussian copula: each quantity keeps its own distribution
and the pairs in `CORRELATIONS` move together. Candidates that could not be measured are left out (`unmeasurable`), so
a larger population begins with the smaller one.
"""
from __future__ import annotations

import itertools
import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from experiments.subjects.finger import DEFECTS, LIGHT_SATURATED, NO_PULSE, Finger, finger_pulsation
from experiments.subjects.spreads import (
    CORRELATIONS,
    ECTOPIC_FINGERS,
    GROUPS,
    IRREGULAR,
    IRREGULAR_FINGERS,
    PULSE,
    RHYTHM,
    PULSE_mmHg,
    Spread,
    spreads_of,
)
from plant.errors import InputError
from plant.finger.artery import unloaded_pressure
from plant.messages import value_text
from plant.pressure.synthetic import STEADY

Samples = NDArray[np.float64]

MOST_FINGERS = 1_000_000
BLOCK = 256  # candidates drawn at once, a power of two as Sobol sequences like it
LEAST_SHARE = 0.0015  # AC/DC at the best cuff pressure of a finger that counts as measurable (invented)
MOST_NOISE_mmHg = 1.0  # noise of a light sample in terms of pressure at the unloaded volume (invented)
LEAST_CUFF_mmHg = 12.0  # that a clamp needs at the lowest pressure, to be able to vent (invented)


def sample_fingers(count: int, group: str = "mixed", seed: int = 1) -> list[Finger]:
    """`count` measurable fingers of a group, named `group-seed-number`. A longer list begins with the shorter one.

    Candidates for which `unmeasurable` has a reason are left out and the next one taken. Raises InputError for an
    unknown group, a count outside 0 … 1,000,000 or a negative seed.
    """
    if not 0 <= count <= MOST_FINGERS:
        raise InputError(f"fingers = {count} must be from 0 to {MOST_FINGERS}")
    return list(itertools.islice(each_finger(group, seed), count))


def each_finger(group: str = "mixed", seed: int = 1) -> Iterator[Finger]:
    """The fingers of `sample_fingers` one after the other, without end, for more of them than one wants in memory."""
    if group not in GROUPS:
        raise InputError(f"group = {value_text(group)} is not known; use one of {', '.join(GROUPS)}")
    if not 0 <= seed < 2**63:
        raise InputError(f"seed = {seed} must be from 0 to {2**63 - 1}")
    return _measurable(_Candidates(group, seed), f"{group}-{seed}")


def _measurable(candidates: _Candidates, name: str) -> Iterator[Finger]:
    number = 0
    while True:
        for finger in candidates.block():
            if not unmeasurable(finger):
                yield finger._replace(name=f"{name}-{number:04d}")
                number += 1


def find_finger(name: str) -> Finger:
    """The finger of a name, made anew: `group-seed-number`, or `group-seed-number-defect`. Raises InputError."""
    parts = name.split("-")
    if len(parts) in (3, 4) and parts[0] in GROUPS and all(p.isascii() and p.isdigit() for p in parts[1:3]):
        number = int(parts[2]) if len(parts[2]) <= 7 else MOST_FINGERS
        if number < MOST_FINGERS and len(parts[1]) <= 19 and (len(parts) == 3 or parts[3] in DEFECTS):
            finger = next(itertools.islice(each_finger(parts[0], int(parts[1])), number, None))
            return spoil(finger, parts[3]) if len(parts) == 4 else finger
    raise InputError(
        f"finger = {value_text(name)} is no name of a finger; write GROUP-SEED-NUMBER, for example mixed-1-0041, "
        f"with a group out of {', '.join(GROUPS)}; add -DEFECT for one out of {', '.join(DEFECTS)}"
    )


def unmeasurable(finger: Finger) -> str:
    """Why a finger does not count as measurable, by the static law at its resting tone; empty when it does.

    Its pulsation is at least 0.15 % of the light, noise and converter step of a sample are at most 1 mmHg through the
    light's slope, and the clamp keeps at least 12 mmHg of cuff pressure in the troughs of breathing and 0.1 Hz waves.
    """
    if finger.defect:
        return finger.defect
    seen = finger_pulsation(finger)
    if seen.share < LEAST_SHARE:
        return f"pulsation of {100 * seen.share:.2g} % is below {100 * LEAST_SHARE:g} % of the light"
    if seen.noise_mmHg > MOST_NOISE_mmHg:
        return f"noise of {seen.noise_mmHg:.2g} mmHg is above {MOST_NOISE_mmHg:g} mmHg"
    pressure = finger.pressure
    lowest = pressure.diastolic_mmHg - pressure.respiration_mmHg - pressure.wave_mmHg
    cuff = (lowest - float(unloaded_pressure(finger.artery, finger.tone.level))) / finger.fit.transmission
    if cuff < LEAST_CUFF_mmHg:
        return f"cuff pressure of {cuff:.3g} mmHg in the troughs is below {LEAST_CUFF_mmHg:g} mmHg"
    return ""


class _Candidates:
    """Fingers in the order of the Sobol points, measurable or not."""

    def __init__(self, group: str, seed: int) -> None:
        from scipy.stats import qmc

        self.group, self.spreads = group, spreads_of(group)
        self.factor = np.linalg.cholesky(correlation_matrix([s.key for s in self.spreads]))
        words = np.random.SeedSequence([seed, list(GROUPS).index(group)])
        scrambling = np.random.Generator(np.random.PCG64(words))
        self.points = qmc.Sobol(len(self.spreads), scramble=True, seed=scrambling)
        self.seeds = np.random.Generator(np.random.PCG64(words.spawn(1)[0]))

    def block(self) -> list[Finger]:
        from scipy.special import ndtr, ndtri

        uniform = np.clip(self.points.random(BLOCK), 1e-9, 1.0 - 1e-9)
        # summed without BLAS, whose bits may depend on the number of its threads
        shares = ndtr(np.einsum("ij,kj->ik", ndtri(uniform), self.factor))
        columns = _values({s.key: shares[:, i] for i, s in enumerate(self.spreads)}, self.spreads)
        seeds = self.seeds.integers(0, 2**32, BLOCK)
        return [
            _finger(self.group, int(seed), {key: float(column[i]) for key, column in columns.items()})
            for i, seed in enumerate(seeds)
        ]


def correlation_matrix(keys: list[str]) -> Samples:
    """Correlations of the copula's normal scores, in the order of `keys`."""
    matrix = np.eye(len(keys))
    for (one, other), value in CORRELATIONS.items():
        i, j = keys.index(one), keys.index(other)
        matrix[i, j] = matrix[j, i] = value
    return matrix


def quantile(spread: Spread, share: Samples, low: Samples | None = None, high: Samples | None = None) -> Samples:
    """Values of a spread below which shares of the fingers lie; tighter bounds cut the distribution further."""
    from scipy.special import ndtr, ndtri

    logarithmic = spread.shape in ("lognormal", "loguniform")
    bounds = [np.asarray(own if given is None else given, float)
              for own, given in ((spread.low, low), (spread.high, high))]
    start, end = (np.log(b) for b in bounds) if logarithmic else bounds
    if spread.shape in ("uniform", "loguniform"):
        value = start + share * (end - start)
    else:
        middle = math.log(spread.middle) if logarithmic else spread.middle
        first, last = ndtr((start - middle) / spread.sd), ndtr((end - middle) / spread.sd)
        value = middle + spread.sd * ndtri(first + share * (last - first))
    return np.asarray(np.clip(np.exp(value) if logarithmic else value, *bounds), float)


def _values(shares: dict[str, Samples], spreads: tuple[Spread, ...]) -> dict[str, Samples]:
    """Every quantity of the fingers from the share of the population below it, by dotted name."""
    by_key = {s.key: s for s in spreads}
    values = {s.key: quantile(s, shares[s.key]) for s in spreads if "." in s.key}
    systolic, pulse = values["pressure.systolic_mmHg"], by_key[PULSE]
    low, high = np.maximum(pulse.low, PULSE_mmHg[0] / systolic), np.minimum(pulse.high, PULSE_mmHg[1] / systolic)
    values["pressure.diastolic_mmHg"] = systolic * (1.0 - quantile(pulse, shares[PULSE], low, high))
    values["tone.wave_Hz"] = values["pressure.wave_Hz"]
    # the first few percent of the rhythm's scale have ectopic beats, the next few no rhythm, the others a regular one
    scale = shares[RHYTHM]
    ectopic = quantile(by_key[RHYTHM], np.minimum(scale / ECTOPIC_FINGERS, 1.0))
    values["pressure.ectopic_share"] = np.where(scale < ECTOPIC_FINGERS, ectopic, 0.0)
    wild = (scale - ECTOPIC_FINGERS) / IRREGULAR_FINGERS
    values["pressure.irregular"] = np.where((wild >= 0.0) & (wild < 1.0), quantile(IRREGULAR, np.clip(wild, 0, 1)), 0.0)
    return values


def _finger(group: str, seed: int, values: dict[str, float]) -> Finger:
    tables: dict[str, dict[str, float]] = {}
    for name, value in values.items():
        table, _, key = name.partition(".")
        tables.setdefault(table, {})[key] = value
    bare = Finger("", group, seed)
    return bare._replace(**{table: getattr(bare, table)._replace(**rows) for table, rows in tables.items()})


def spoil(finger: Finger, defect: str) -> Finger:
    """The finger made unmeasurable, all invented; which way, and how far, follows from its seed. Raises InputError.

    `no_pulse`: pressure is constant and low. `light_saturated`: daylight holds the converter at full scale, or so much
    pooled blood lies in the light's way that it stays at zero. `loose_cuff`: the wrap has 0.6 to 1.5 of the bladder's
    volume in slack, and passes on 45 to 70 % of its pressure.
    """
    if defect not in DEFECTS:
        raise InputError(f"defect = {value_text(defect)} is not known; use one of {', '.join(DEFECTS)}")
    if finger.defect:
        raise InputError(f"finger {finger.name}: is spoilt already: {finger.defect}")
    random = np.random.Generator(np.random.PCG64([finger.seed, DEFECTS.index(defect)]))
    first, second = float(random.uniform()), float(random.uniform())
    spoilt = finger._replace(name=f"{finger.name}-{defect}", defect=defect)
    if defect == NO_PULSE:
        # what there is of a pulse in these numbers is next to nothing, for whoever uses them without `finger_pressure`
        return spoilt._replace(pressure=STEADY._replace(systolic_mmHg=30.0, diastolic_mmHg=25.0))
    if defect == LIGHT_SATURATED:
        if first < 0.5:
            lit = max(finger.light.transmission, 0.5)
            return spoilt._replace(light=finger.light._replace(ambient=0.97 + 0.03 * second, transmission=lit))
        # little light, little noise: shot noise goes with the root of it
        dark = finger.light._replace(transmission=1e-4, venous_path_cm=1.0, ambient=0.0, noise=1e-6)
        return spoilt._replace(light=dark, vein=finger.vein._replace(least_volume=0.7 + 0.2 * second))
    return spoilt._replace(fit=finger.fit._replace(slack=0.6 + 0.9 * first, transmission=0.45 + 0.25 * second))
