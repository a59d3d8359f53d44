"""What people and programs read of a rig's word lengths."""
from __future__ import annotations

from typing import Any

from experiments.design.rounding.study import Length, Rounding

MOST_STALLS = 4


def rounding_lines(found: Rounding) -> list[str]:
    """The study on one screen: the recommendation first."""
    ranges = found.ranges
    head = f"word lengths of {found.rig.name} on {found.record}: servo error {found.servo_mmHg:.3f} mmHg rms, " \
           f"converters' last bits {found.floor_mmHg:.4f} mmHg (predicted {found.parted_mmHg:.4f})"
    lines = [head, ""]
    if found.recommended is None:
        lines.append("no length that was tried is long enough:")
    else:
        lines.append(f"take {found.recommended} bits, rounded to nearest, with the integral kept in 64:")
    lines += [f"  {reason}" for reason in found.reasons]
    lines += ["", f"{'bits':>4}{'added mmHg':>12}{'of servo':>10}{'predicted':>11}{'blind mmHg':>12}"
              f"{'narrow':>9}{'modulus':>10}{'phase °':>9}{'widest sum':>12}"]
    lines += [_row(one, found) for one in found.lengths]
    lines += [f"{words:>4}  refused: {why}" for words, why in found.refused.items()]
    lines += ["", f"ranges: error ±{ranges.error_mmHg:g} mmHg, behind lead and notch ±{ranges.notch_mmHg:.4g} (their "
              f"L1 norm), derivative ±{ranges.rate:.3g}, demand ±{ranges.demand:.3g} of full command",
              f"blind: steady error that leaves nothing behind the filters; narrow: if the integral were a word, too; "
              f"the light's converter tells {found.light_step_mmHg:.2g} mmHg apart"]
    return lines + _details(found)


def _row(one: Length, found: Rounding) -> str:
    note = "" if one.status == "done" else f"  {one.status}"
    return (f"{one.words:>4}{one.added_mmHg:>12.5f}{100.0 * one.added_mmHg / found.servo_mmHg:>8.2f} %"
            f"{one.predicted_mmHg:>11.5f}{one.blind_mmHg:>12.2g}{one.blind_narrow_mmHg:>9.2g}"
            f"{one.modulus_change:>10.1g}{one.phase_change_deg:>9.1g}{max(one.sums.values()):>9} bit{note}")


def _details(found: Rounding) -> list[str]:
    """Dead bands of the recommended length, and filters that would stall."""
    words = found.recommended or found.lengths[-1].words
    one, lines = found.length(words), []
    for name, cycle in one.cycles.items():
        unit = "of full command" if name == "derivative" else "mmHg"
        lines.append(f"{name} at {words} bits: zero-input oscillation up to {cycle.found_steps} steps "
                     f"({cycle.found_steps * cycle.step:.2g} {unit}), bound {cycle.bound_steps:.3g}")
    lines += [f"{stall.name} ({stall.memory_s:g} s): would stop {100.0 * stall.single:.2g} % short in single "
              f"precision, {100.0 * stall.words:.2g} % of its range in {words} bits: keep its state wide"
              for stall in found.stalls[:MOST_STALLS]]
    return lines


def rounding_json(found: Rounding) -> dict[str, Any]:
    """The study as plain data."""
    return {
        "rig": found.rig.name, "record": found.record, "recommended_bits": found.recommended,
        "reasons": found.reasons, "servo_error_mmHg": found.servo_mmHg, "floor_mmHg": found.floor_mmHg,
        "floor_predicted_mmHg": found.parted_mmHg,
        "light_step_mmHg": found.light_step_mmHg, "ranges": found.ranges._asdict(),
        "lengths": [{
            "bits": one.words, "status": one.status, "added_mmHg": one.added_mmHg,
            "predicted_mmHg": one.predicted_mmHg, "allowed_mmHg": one.allowed_mmHg(found.floor_mmHg),
            "predicted_by_place_mmHg": {side: noise._asdict() for side, noise in one.predicted.items()},
            "blind_mmHg": one.blind_mmHg, "blind_narrow_mmHg": one.blind_narrow_mmHg,
            "modulus_change": one.modulus_change, "phase_change_deg": one.phase_change_deg,
            "modulus_margin": {side: margins.modulus_margin for side, margins in one.margins.items()},
            "saturated_share": one.saturated_share,
            "formats": {name: value for name, value in one.formats._asdict().items() if name != "ranges"},
            "sum_bits": one.sums,
            "cycles": {name: cycle._asdict() for name, cycle in one.cycles.items()},
        } for one in found.lengths],
        "refused": {str(words): why for words, why in found.refused.items()},
        "stalls": [stall._asdict() for stall in found.stalls],
    }
