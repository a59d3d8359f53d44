"""An identification with all that is told of it: margins, suspects of a misfit, further recordings, hashes."""
from __future__ import annotations

from typing import NamedTuple

from experiments.identify.fit.further import Further
from experiments.identify.fit.study import Identified
from experiments.identify.fit.suspects import Suspect
from experiments.identify.outcome.margins import Band
from experiments.rigs.rig import Source

CLEAR = 0.3  # share of what is left over by which a suspect is named


class Account(NamedTuple):
    """What `identify` says."""

    found: Identified
    source: Source  # of the rig that was believed in
    name: str  # of the rig that was found
    bands: tuple[Band, ...]
    suspects: tuple[Suspect, ...]  # of a misfit
    further: tuple[Further, ...]
    hashes: dict[str, str]
    accepted: bool  # a misfit that is to be written all the same

    @property
    def writes_a_rig(self) -> bool:
        """Whether there is a rig file to be written."""
        return (self.found.fits or self.accepted) and any(one.told for one in self.found.found)


def misfit_sentences(account: Account) -> list[str]:
    """What is left over, in words; empty for a fit."""
    found, lines = account.found, []
    if found.fits:
        return []
    bad = [left for left in found.leftovers if not left.is_noise]
    if bad:
        worst = max(bad, key=lambda left: left.ratio)
        noise = worst.rms / worst.ratio**0.5
        pace = "mostly slow" if worst.slow > 0.5 else "mostly fast"
        lines.append(f"The recordings are not explained: {worst.rms:.3g} rms are left over in {worst.channel} of "
                     f"{worst.recording}, {worst.ratio**0.5:.3g} times its noise of {noise:.2g}, {pace}"
                     f"{'; it is a holdout' if worst.holdout else ''}.")
        if len(bad) > 1:
            lines.append(f"So it is in {len(bad)} of {len(found.leftovers)} courses.")
    for held, pull in zip(found.held, found.pulls, strict=True):
        if abs(pull) > 3.5:
            lines.append(f"The recordings pull {held.free.name} {pull:+.1f} standard uncertainties away from "
                         f"{held.value:.4g}: what scales flows or volumes (that measurement, supply pressure, a leak) "
                         "is not as it is said to be.")
    likely = [one for one in account.suspects if one.share > CLEAR][:2]
    for one in likely:
        lines.append(f"It looks like {one.looks_like}: {one.name} would take {100 * one.share:.0f} % of it away.")
    if not likely and bad:
        lines.append("No single number of our parts would take it away: something that they do not have.")
    return lines


def scale_sentence(found: Identified) -> str:
    """Which numbers scale with what was measured otherwise; empty where none does."""
    lines = []
    for k, held in enumerate(found.held):
        scaled = [one.free.name for one in found.found if abs(one.by_held[k]) > 0.5]
        if scaled:
            how = "nobody has measured it: give it with --known" if held.assumed else "as measured"
            lines.append(f"{', '.join(scaled)} scale with {held.free.name} = {held.value:.4g} ± {held.sd:.2g} "
                         f"{held.free.unit} ({how})")
    return "; ".join(lines)
