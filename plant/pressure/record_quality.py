"""What a recorded pressure is worth: its beats, its faults with their times, its band, and what of it may be counted.

`record_check` says whether numbers can be a pressure at all; this says whether they are an artery's throughout. A fault
that would drive a rig with what no artery does makes the record unfit (`unfit`), unless another part of it is chosen;
lesser ones are told, and their samples do not count. Limits are ours where no source is given.
"""
from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from plant.errors import InputError
from plant.pressure.beats import detect_beats
from plant.pressure.record_band import cut_off_Hz
from plant.pressure.record_faults import (
    LEAST_PULSE_mmHg,
    Stretch,
    clipped,
    collapsed,
    frozen,
    levels,
    shaken,
    steps,
    usual,
)
from plant.pressure.resample import Mask, Samples, widened

BESIDE_s = 1.0  # of a fault: its edges are not looked at for other faults
MASKED_s = 0.2  # on each side of a fault: not counted
UNFIT_s = {"flush": 0.0, "open to air": 0.0, "pressure lost": 0.0, "pulse collapse": 0.0, "frozen": 1.0}
# total of a fault beyond which the record is unfit; none for those that only do not count
CLIPPED_SHARE = 0.02  # beyond it systolic or diastolic pressure is not known
LEAST_USABLE = 0.5
LEAST_CLEAN_s = 15.0  # of a part worth pointing to: fill, settle and ten beats
NARROW_Hz = 20.0  # below it no pass: 25 Hz hold systolic pressure within 1 mmHg, 21 Hz pulse pressure within 2 %
ENDING_Hz = 30.0  # below it a warning: on 300 virtual people pulse pressure within 1 % takes 30 Hz
MOST_TOLD = 4  # findings in one line


class Finding(NamedTuple):
    """One fault of a record, in seconds after the record's first sample."""

    kind: str
    start_s: float
    end_s: float
    mmHg: float  # level, jump or size that tells of it
    unfit: bool  # whether a rig cannot be judged with it

    def __str__(self) -> str:
        if self.kind == "step":
            return f"step of {self.mmHg:+.0f} mmHg at {self.start_s:.1f} s"
        size = "roughness" if self.kind == "shaken" else "pulse" if self.kind == "pulse collapse" else "at"
        return f"{self.kind} ({size} {self.mmHg:.0f} mmHg) from {self.start_s:.1f} to {self.end_s:.1f} s"


class RecordQuality(NamedTuple):
    """What a part of a record is worth; shares are of its time."""

    beats: int  # whole ones outside faults
    rate_per_min: float  # median over them; nan without any
    pulse_mmHg: float  # usual highest minus lowest pressure within two seconds; 0 without a pulse
    band_Hz: float  # cut off here, or half the sampling rate
    cut_off: bool  # whether that is less than the sampling rate would hold
    clipped_share: float
    usable_share: float
    seconds: float
    findings: tuple[Finding, ...]  # in order of time, clipped samples as one
    clean_s: tuple[float, float]  # start and length of the longest part without a fault

    def total_s(self, kind: str) -> float:
        """Time [s] with one kind of fault."""
        return sum(f.end_s - f.start_s for f in self.findings if f.kind == kind)

    @property
    def band(self) -> str:
        """The band in words."""
        return f"band {self.band_Hz:.0f} Hz ({'cut off' if self.cut_off else 'half its sampling rate'})"

    @property
    def narrow(self) -> bool:
        """Whether the record holds so little of the pulse's range that keeping the limits on it proves nothing."""
        return self.band_Hz < NARROW_Hz

    @property
    def reasons(self) -> list[str]:
        """Why no rig can be judged on it, each with its time; empty when one can."""
        found = [str(f) for f in self.findings if f.unfit]
        if self.pulse_mmHg < LEAST_PULSE_mmHg:
            found.insert(0, f"no pulse of {LEAST_PULSE_mmHg:g} mmHg in it")
        elif self.usable_share < LEAST_USABLE:
            found.insert(0, f"only {100 * self.usable_share:.0f} % of it usable")
        return found

    def as_dict(self) -> dict[str, Any]:
        """Plain data for JSON, units in the keys; what could not be had is None."""
        return {
            "beats": self.beats, "rate_per_min": self.rate_per_min if math.isfinite(self.rate_per_min) else None,
            "pulse_mmHg": self.pulse_mmHg, "band_Hz": self.band_Hz, "cut_off": self.cut_off, "narrow": self.narrow,
            "clipped_share": self.clipped_share, "usable_share": self.usable_share, "seconds": self.seconds,
            "frozen_s": self.total_s("frozen"), "flush_s": self.total_s("flush"),
            "open_to_air_s": self.total_s("open to air") + self.total_s("pressure lost"),
            "pulse_collapse_s": self.total_s("pulse collapse"), "shaken_s": self.total_s("shaken"),
            "steps": sum(f.kind == "step" for f in self.findings),
            "findings": [f._asdict() for f in self.findings],
            "longest_clean": {"start_s": self.clean_s[0], "seconds": self.clean_s[1]},
        }


def refuse_unfit(quality: RecordQuality, name: str) -> None:
    """Raise InputError, naming faults with their times and the longest clean part, when no rig can be judged on it."""
    reasons = quality.reasons
    if not reasons:
        return
    more = f"; and {len(reasons) - MOST_TOLD} more" if len(reasons) > MOST_TOLD else ""
    start, seconds = quality.clean_s
    hint = "; no part of it is long enough without a fault"
    if seconds >= LEAST_CLEAN_s:
        hint = f"; without a fault: --start {math.ceil(start * 10) / 10:g} --seconds {math.floor(seconds * 10) / 10:g}"
    raise InputError(f"{name}: the record is at fault, no rig is judged on it: "
                     f"{'; '.join(reasons[:MOST_TOLD])}{more}{hint}")


def record_quality(
    pressure_mmHg: Samples, good: Mask, step_s: float, start_s: float = 0.0
) -> tuple[RecordQuality, Mask]:
    """Quality of evenly sampled pressure (bad samples bridged) from `start_s` of its record on, and samples at fault.

    `good` is False where samples are bridged. The mask, of the same shape, is True at a fault and MASKED_s around it.
    """
    values = np.asarray(pressure_mmHg, dtype=np.float64)
    found, pulse_mmHg = _stretches(values, step_s)
    at_fault = _mask(found, len(values), MASKED_s / step_s)
    usable = ~at_fault & good
    onsets = detect_beats(values, step_s)
    bad = np.concatenate([[0], np.cumsum(~usable)])
    whole = bad[onsets[1:]] == bad[onsets[:-1]]
    beat_s = np.diff(onsets)[whole] * step_s
    rate = 60.0 / float(np.median(beat_s)) if len(beat_s) else math.nan
    band = cut_off_Hz(values, usable, step_s, rate / 60.0 if len(beat_s) else 1.0)
    clips = sum(s.last - s.first + 1 for s in found if s.kind == "clipped") / len(values)
    first, length = _longest(usable)
    quality = RecordQuality(
        int(np.count_nonzero(whole)), rate, pulse_mmHg, band, band < 0.49 / step_s, clips, float(np.mean(usable)),
        len(values) * step_s, _findings(found, step_s, start_s, clips > CLIPPED_SHARE),
        (start_s + first * step_s, length * step_s),
    )
    return quality, at_fault


def _stretches(values: Samples, step_s: float) -> tuple[list[Stretch], float]:
    """All faults, and the usual pulse [mmHg]; what one fault explains is no other fault as well."""
    known = usual(values, step_s)
    found = levels(values, known, step_s)
    clips = clipped(values, step_s)
    off = _mask(found, len(values), 0.0)
    limits = {s.mmHg for s in clips}
    found += [s for s in frozen(values, step_s) if s.mmHg not in limits and not np.all(off[s.first : s.last + 1])]
    found += [s for s in clips if not np.any(off[s.first : s.last + 1])]
    beside = _mask([s for s in found if s.kind != "clipped"], len(values), BESIDE_s / step_s)
    found += collapsed(known, beside, step_s)
    found += shaken(values, known, beside | _mask(found, len(values), 0.0), step_s)
    beside = _mask([s for s in found if s.kind not in ("clipped", "shaken")], len(values), BESIDE_s / step_s)
    found += steps(known, values, beside, step_s)
    return found, known.pulse_mmHg


def _mask(found: list[Stretch], size: int, reach: float) -> Mask:
    """Samples within a fault and `reach` around it; a step lasts no time."""
    mask = np.zeros(size, bool)
    for stretch in found:
        if stretch.kind == "step":
            continue
        mask[stretch.first : stretch.last + 1] = True
    return widened(mask, math.ceil(reach))


def _findings(found: list[Stretch], step_s: float, start_s: float, clips_unfit: bool) -> tuple[Finding, ...]:
    """Stretches in seconds; clipped samples, of which each beat has some, from the first to the last of them."""
    told = []
    for kind in dict.fromkeys(s.kind for s in found):
        some = [s for s in found if s.kind == kind]
        if kind == "clipped":
            for level in dict.fromkeys(s.mmHg for s in some):
                these = [s for s in some if s.mmHg == level]
                told.append((Stretch(kind, these[0].first, these[-1].last, level), clips_unfit))
        else:
            total = sum(s.last - s.first + 1 for s in some) * step_s
            told += [(s, total > UNFIT_s.get(kind, math.inf)) for s in some]
    return tuple(
        Finding(s.kind, start_s + s.first * step_s, start_s + s.last * step_s, s.mmHg, unfit)
        for s, unfit in sorted(told, key=lambda pair: pair[0].first)
    )


def _longest(usable: Mask) -> tuple[int, int]:
    """First sample and length of the longest usable run; (0, 0) without any."""
    edges: NDArray[np.int64] = np.flatnonzero(np.diff(np.concatenate([[False], usable, [False]]).astype(np.int8)))
    if not len(edges):
        return 0, 0
    longest = int(np.argmax(edges[1::2] - edges[::2]))
    return int(edges[2 * longest]), int(edges[2 * longest + 1] - edges[2 * longest])
