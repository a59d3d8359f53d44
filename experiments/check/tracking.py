"""How well cuff pressure follows arterial pressure: errors by tick, by beat and by harmonic.

Beats are found on the true arterial pressure; a beat counts when all its ticks do. Limits of agreement are
mean ± 1.96 SD (Bland & Altman 1986).
"""
from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from experiments.check.harmonics import Harmonic, Mask, Samples, harmonic_transfer
from plant.errors import InputError
from plant.pressure.beats import BeatValues, Indices, beat_values, detect_beats

LIMIT_OF_AGREEMENT = 1.96


class TickErrors(NamedTuple):
    """Cuff minus reference over the ticks that count."""

    rms_mmHg: float
    peak_mmHg: float  # largest magnitude
    bias_mmHg: float  # mean


class BeatError(NamedTuple):
    """Cuff minus reference of one value per beat."""

    mean_mmHg: float
    sd_mmHg: float  # of the sample; nan below two beats
    agreement_low_mmHg: float
    agreement_high_mmHg: float

    def __str__(self) -> str:
        spread = f" ± {self.sd_mmHg:.2f}" if math.isfinite(self.sd_mmHg) else ""
        return f"{self.mean_mmHg:+.2f}{spread}"


class BeatErrors(NamedTuple):
    """Errors of the three values of a beat."""

    systolic: BeatError
    mean: BeatError
    diastolic: BeatError
    beats: int


class Tracking(NamedTuple):
    """All figures of tracking; errors are cuff minus true arterial pressure, and cuff minus the ideal p_a − p0."""

    arterial: TickErrors
    ideal: TickErrors
    arterial_beats: BeatErrors
    ideal_beats: BeatErrors
    saturation_share: float  # of the time that counts
    counted_s: float
    rate_per_min: float  # mean over the beats that count; nan without beats
    pulse_mmHg: float  # systolic minus diastolic arterial pressure, mean over those beats; nan without beats
    harmonics: tuple[Harmonic, ...]  # cuff against true arterial pressure

    def as_dict(self) -> dict[str, Any]:
        """Plain numbers for JSON, units in the keys; what could not be had is None."""
        return {
            "arterial": _plain(self.arterial),
            "ideal": _plain(self.ideal),
            "arterial_beats": _plain_beats(self.arterial_beats),
            "ideal_beats": _plain_beats(self.ideal_beats),
            "saturation_share": _number(self.saturation_share),
            "counted_s": _number(self.counted_s),
            "rate_per_min": _number(self.rate_per_min),
            "pulse_mmHg": _number(self.pulse_mmHg),
            "harmonics": [_plain(h) for h in self.harmonics],
        }

    def __str__(self) -> str:
        count = self.ideal_beats.beats
        rate = f" at {self.rate_per_min:.0f}/min" if count else ""
        lines = [f"{self.counted_s:.1f} s, {count} beats{rate}, "
                 f"saturated {100.0 * self.saturation_share:.1f} % of the time"]
        for name, ticks, beats in (
            ("arterial", self.arterial, self.arterial_beats), ("ideal", self.ideal, self.ideal_beats)
        ):
            each = ", ".join(
                f"{value} {error}"
                for value, error in (("sys", beats.systolic), ("mean", beats.mean), ("dia", beats.diastolic))
            )
            lines.append(f"cuff − {name}: rms {ticks.rms_mmHg:.2f}, peak {ticks.peak_mmHg:.2f}, "
                         f"bias {ticks.bias_mmHg:+.2f}{f'; {each}' if count else ''} mmHg")
        return "\n".join(lines)


def tracking(
    cuff_mmHg: Samples, arterial_mmHg: Samples, ideal_mmHg: Samples, saturated: Mask, usable: Mask, period_s: float,
    onsets: Indices | None = None, harmonics: bool = True,
) -> Tracking:
    """Tracking figures of a run; every array has one sample a tick and the same length.

    `usable` marks the ticks that count, `saturated` those at a limit of the controller or actuator. `onsets` are
    those of `detect_beats`, where they are known; `harmonics` may be left out, which take a third of the time. Raises
    InputError when lengths differ, nothing counts, or a value that counts is not finite.
    """
    counted = np.asarray(usable, bool)
    _check(counted, cuff_mmHg=cuff_mmHg, arterial_mmHg=arterial_mmHg, ideal_mmHg=ideal_mmHg, saturated=saturated)
    if onsets is None:
        onsets = detect_beats(_finite(arterial_mmHg), period_s)
    kept = whole_beats(onsets, counted)
    cuff, arterial, ideal = (
        BeatValues(*(v[kept] for v in beat_values(_finite(signal), onsets, period_s)))
        for signal in (cuff_mmHg, arterial_mmHg, ideal_mmHg)
    )
    mean_beat_s = float(np.mean(np.diff(onsets)[kept])) * period_s if np.any(kept) else math.nan
    return Tracking(
        _tick_errors(cuff_mmHg[counted] - arterial_mmHg[counted]),
        _tick_errors(cuff_mmHg[counted] - ideal_mmHg[counted]),
        _beat_errors(cuff, arterial),
        _beat_errors(cuff, ideal),
        float(np.mean(np.asarray(saturated, bool)[counted])),
        float(np.count_nonzero(counted)) * period_s,
        60.0 / mean_beat_s,
        float(np.mean(arterial.systolic_mmHg - arterial.diastolic_mmHg)) if np.any(kept) else math.nan,
        harmonic_transfer(cuff_mmHg, arterial_mmHg, counted, period_s, 1.0 / mean_beat_s) if harmonics else (),
    )


def _check(counted: Mask, **arrays: NDArray[Any]) -> None:
    for name, values in arrays.items():
        if np.shape(values) != counted.shape:
            raise InputError(f"tracking: {name} has shape {np.shape(values)} and usable {counted.shape}; must be equal")
        wrong = counted & ~np.isfinite(values)
        if np.any(wrong):
            first = int(np.argmax(wrong))
            raise InputError(f"tracking: {name} at tick {first} = {values[first]:g} is not a finite number")
    if not np.any(counted):
        raise InputError("tracking: no tick counts; the run is too short, or the record not usable there")


def _finite(values: Samples) -> Samples:
    """The values, with 0 for those that are not finite; no tick that counts is among them."""
    return np.asarray(np.where(np.isfinite(values), values, 0.0))


def whole_beats(onsets: Indices, counted: Mask) -> Mask:
    """Which beats have only ticks that count, the onset of the next beat included; shape (onsets − 1,)."""
    missing = np.concatenate([[0], np.cumsum(~counted)])
    return np.asarray(missing[onsets[1:] + 1] == missing[onsets[:-1]])


def _tick_errors(error: Samples) -> TickErrors:
    return TickErrors(
        float(np.sqrt(np.mean(error**2))), float(np.max(np.abs(error))), float(np.mean(error))
    )


def _beat_error(error: Samples) -> BeatError:
    mean = float(np.mean(error)) if len(error) else math.nan
    deviation = float(np.std(error, ddof=1)) if len(error) > 1 else math.nan
    reach = LIMIT_OF_AGREEMENT * deviation
    return BeatError(mean, deviation, mean - reach, mean + reach)


def _beat_errors(cuff: BeatValues, reference: BeatValues) -> BeatErrors:
    systolic, mean, diastolic = (_beat_error(c - r) for c, r in zip(cuff, reference, strict=True))
    return BeatErrors(systolic, mean, diastolic, len(cuff.systolic_mmHg))


def _number(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None


def _plain(figures: NamedTuple) -> dict[str, Any]:
    return {k: v if isinstance(v, int) else _number(v) for k, v in figures._asdict().items()}


def _plain_beats(errors: BeatErrors) -> dict[str, Any]:
    return {
        "systolic": _plain(errors.systolic), "mean": _plain(errors.mean), "diastolic": _plain(errors.diastolic),
        "beats": errors.beats,
    }
