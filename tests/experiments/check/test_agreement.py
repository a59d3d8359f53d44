"""Whether prediction and simulation agree."""
import math
from dataclasses import replace

import numpy as np
import pytest

from experiments.check.agreement import Agreement, agreement, agreement_lines


def test_they_do_on_the_shipped_rig(checked):
    found = checked.agreement
    assert found is not None and not found.parted
    assert found.simulated_mmHg == pytest.approx(found.predicted_mmHg, rel=0.15)
    (line,) = agreement_lines(found)
    assert f"{found.predicted_mmHg:.2f} mmHg rms predicted" in line


@pytest.mark.parametrize(("simulated", "parted"), [
    (1.0, False), (1.149, False), (1.151, True), (0.849, True), (4.3, True)])
def test_a_seventh_off_is_remarked(simulated, parted):
    found = Agreement(1.0, simulated)
    assert found.parted is parted and ("REMARK" in "".join(agreement_lines(found))) is parted


def test_without_a_run_that_held_nothing_is_said(checked):
    assert agreement_lines(None) == []
    assert agreement(replace(checked.run, status="saturated"), checked.loops) is None
    lost = [replace(j, predicted_mmHg=math.nan) for j in checked.loops]
    assert agreement(checked.run, lost) is None
    brief = replace(checked.run, channels={n: v[:9000] for n, v in checked.run.channels.items()},
                    tone=checked.run.tone[: 9001])
    assert np.count_nonzero(brief.counted) * 1e-3 < 8.0 and agreement(brief, checked.loops) is None
