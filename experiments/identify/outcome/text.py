"""An identification in words and as plain data."""
from __future__ import annotations

from typing import Any

from experiments.identify.fit.study import Found
from experiments.identify.outcome.account import Account, misfit_sentences, scale_sentence
from experiments.identify.replay.candidates import value_of


def account_lines(account: Account) -> list[str]:
    """A table of numbers with intervals, tests of what is left over, margins, what would help."""
    found = account.found
    verdict = "explained down to their noise" if found.fits else "NOT explained"
    count = sum(len(one.command) for one in found.problem.recordings)
    lines = [f"Identified over {account.source.where}: {len(found.problem.recordings)} recordings, {count} samples, "
             f"{verdict}"]
    lines += [f"  {sentence}" for sentence in misfit_sentences(account)]
    if not found.fits:
        lines.append("  The uncertainties below mean nothing then." + ("" if account.accepted else
                     " No rig file is written (--accept-misfit writes it)."))
    lines += ["", f"  {'number':<36}{'found':>12}{'± sd':>10}{'sd %':>8}   {'95 % by the recordings':<26}"
                  f"{'believed':>10}"]
    lines += [row(one, account) for one in found.found]
    for held in found.held:
        note = "believed, nobody has measured it" if held.assumed else "measured; held"
        share = 100.0 * held.sd / abs(held.value) if held.value else 0.0
        lines.append(f"  {held.free.name:<36}{held.value:>12.5g}{held.sd:>10.2g}{share:>8.2g}   {note}")
    if found.problem.bench.centred:
        lines.append(f"  {'transducer.offset_mmHg':<36}{found.offset_mmHg:>12.4g}{'':>18}   mean of the recordings")
    lines += ["", "  " + (scale_sentence(found) or "nothing that was found scales with what was held")]
    lines.append(f"  told least: {found.weakest} (condition {found.condition:.3g})")
    lines.append(f"  {found.agreeing_starts} of {found.tried_starts} starts ended here, {found.solution.evaluations} "
                 "evaluations")
    if found.twin is not None:
        rivals = {name for group in found.confounded for name in group.names}
        pairs = zip(found.problem.free, found.twin, strict=True)
        other = ", ".join(f"{f.name} = {f.outside(float(v)):.4g}" for f, v in pairs if f.name in rivals)
        lines.append(f"  other values explain the recordings as well: {other}")
    lines += ["", f"  {'left over of':<28}{'channel':<15}{'rms':>9}{'/ noise':>9}{'whiteness p':>13}"
                  f"{'command p':>11}"]
    for left in found.leftovers:
        note = ("" if left.is_noise else "  not noise") + ("  holdout" if left.holdout else "")
        lines.append(f"  {left.recording:<28}{left.channel:<15}{left.rms:>9.3g}{left.ratio**0.5:>9.4g}"
                     f"{left.white_p:>13.2g}{left.command_p:>11.2g}{note}")
    if account.bands:
        lines += ["", "  the loop with the base's controller, at 90 mmHg: " + ", ".join(
            f"{band.name} {band.value:.4g} ± {band.sd:.2g}" for band in account.bands)]
    if account.further:
        lines += ["", "  a further recording that helps most: " + ", ".join(
            f"{one.played} ({one.gain:.2g} nats, {one.helps} to {100 * one.share:.0f} %)"
            for one in account.further[:3])]
    return lines


def row(one: Found, account: Account) -> str:
    """One number."""
    believed = value_of(account.found.problem.bench.rig, one.free.name)
    head = f"  {one.free.name:<36}"
    if not one.told:
        return f"{head}{'not told':>12}{'':>21}{one.why} (stays at {believed:.5g})"
    interval = f"{one.interval.low:.6g} … {one.interval.high:.6g}"
    share = 100.0 * one.sd / abs(one.value)
    return f"{head}{one.value:>12.5g}{one.sd:>10.2g}{share:>8.2g}   {interval:<26}{believed:>10.4g}"


def account_json(account: Account) -> dict[str, Any]:
    """The same as plain data."""
    found = account.found
    return {
        "base": account.source.base, "over": account.source.where, "fits": found.fits, "all_told": found.all_told,
        "misfit": misfit_sentences(account),
        "numbers": {one.free.name: {
            "told": one.told, "why": one.why, "value": one.value, "sd": one.sd, "unit": one.free.unit,
            "low": one.interval.low, "high": one.interval.high, "profiled": one.interval.profiled,
        } for one in found.found},
        "held": {h.free.name: {"value": h.value, "sd": h.sd, "assumed": h.assumed, "pull": pull}
                 for h, pull in zip(found.held, found.pulls, strict=True)},
        "covariance": {"of": [*(one.free.name for one in found.found), *(h.free.name for h in found.held)],
                       "logarithmic": [*(one.free.logarithmic for one in found.found),
                                       *(h.free.logarithmic for h in found.held)],
                       "matrix": found.covariance.tolist()},
        "offset_mmHg": found.offset_mmHg, "condition": found.condition, "told_least": found.weakest,
        "not_told_apart": [group._asdict() for group in found.confounded],
        "leftovers": [left._asdict() | {"is_noise": left.is_noise} for left in found.leftovers],
        "starts": {"tried": found.tried_starts, "agreeing": found.agreeing_starts},
        "evaluations": found.solution.evaluations,
        "margins": {band.name: {"value": band.value, "sd": band.sd} for band in account.bands},
        "suspects": [one._asdict() for one in account.suspects],
        "further": [one._asdict() for one in account.further],
        "recordings": account.hashes,
    }
