"""What is said of the record that a rig is judged on: its worth in a line or two, and each of its faults."""
from __future__ import annotations

import math
from typing import Any

from plant.pressure.record import PressureTrace
from plant.pressure.record_quality import MOST_TOLD, ENDING_Hz, NARROW_Hz, RecordQuality

TOLD_s = {"frozen": "frozen", "flush": "flush", "open to air": "open to air", "pulse collapse": "pulse collapse",
          "shaken": "shaken"}


def record_lines(trace: PressureTrace) -> list[str]:
    """Beats, rate, band and faults of a trace's record; one line more for what does not count, and for a warning."""
    quality = trace.quality
    if quality is None:
        return [f"record {trace.name}: made up here, not judged"]
    rate = f" at {quality.rate_per_min:.0f}/min" if math.isfinite(quality.rate_per_min) else ""
    lines = [f"record {trace.name}: {quality.seconds:.1f} s, {quality.beats} beats{rate}, pulse "
             f"{quality.pulse_mmHg:.0f} mmHg, {quality.band}, usable {100 * quality.usable_share:.1f} %; "
             f"{_faults(quality)}"]
    lines += _told("not counted", [str(f) for f in quality.findings if f.kind != "step"])
    lines += _told("counted, but the level jumps", [str(f) for f in quality.findings if f.kind == "step"])
    if quality.band_Hz < ENDING_Hz:
        lines.append(f"WARNING: {quality.band}, where a pulse reaches {ENDING_Hz:g} Hz: errors are larger than shown"
                     f"{f'; below {NARROW_Hz:g} Hz no rig passes' if quality.narrow else ''}")
    return lines


def _told(what: str, found: list[str]) -> list[str]:
    """One warning for findings that are treated alike; none without any."""
    more = f"; and {len(found) - MOST_TOLD} more" if len(found) > MOST_TOLD else ""
    return [f"WARNING: {what}: {'; '.join(found[:MOST_TOLD])}{more}"] if found else []


def _faults(quality: RecordQuality) -> str:
    """All kinds of fault in a few words."""
    steps = sum(f.kind == "step" for f in quality.findings)
    found = [f"clipped {100 * quality.clipped_share:.1f} %"] if quality.clipped_share else []
    found += [f"{word} {quality.total_s(kind):.1f} s" for kind, word in TOLD_s.items() if quality.total_s(kind)]
    found += [f"{steps} step{'s' if steps > 1 else ''}"] if steps else []
    return ", ".join(found) or "nothing clipped, frozen, flushed, open, shaken, stepped or without a pulse"


def record_json(trace: PressureTrace) -> dict[str, Any]:
    """The same as plain data, under the record's name and source; no quality for what is made up."""
    quality = trace.quality.as_dict() if trace.quality is not None else None
    return {"record": {"name": trace.name, "source": trace.source, "quality": quality}}
