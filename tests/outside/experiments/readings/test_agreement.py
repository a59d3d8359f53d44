"""Agreement figures against published tables and against R's epiR.

The data stay outside (see `$CUFFLOOP_SHARED_DATA/readings` or ../shared/data/readings):

- `cardiac_wide.csv`: 12 subjects, 60 pairs of cardiac output by two methods (Bland & Altman 1999, table 4, as carried
  by the R package MethComp); `sbp_wide.csv`: 85 subjects, three readings of systolic pressure by two observers and a
  machine (same source). Figures beside them: published ones, and epiR 2.0.57, computed beforehand.
- `res.mat`: 1,351 pairs of estimated output and thermodilution in 120 subjects, no licence stated.
"""
import csv
import os
import shutil
import subprocess
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from experiments.readings.agreement.limits import changing, constant_pairs, plain
from experiments.readings.agreement.pairs import Pairs, pairs_of
from experiments.readings.agreement.percentage import percentage
from experiments.readings.agreement.standard import allowed_sd_mmHg, criteria
from experiments.readings.agreement.trending import changes_of, trending

TOP = Path(__file__).resolve().parents[4]
READINGS = Path(os.environ.get("CUFFLOOP_SHARED_DATA", TOP.parent / "shared" / "data")) / "readings"
CARDIAC, PRESSURE, OUTPUT = READINGS / "cardiac_wide.csv", READINGS / "sbp_wide.csv", READINGS / "res.mat"


def columns(path: Path) -> dict[str, Any]:
    with path.open() as file:
        rows = list(csv.DictReader(file))
    return {name: np.array([float(row[name]) for row in rows]) for name in rows[0]}


def cardiac() -> Pairs:
    table = columns(CARDIAC)
    return pairs_of(table["item"].astype(int), table["RV"], table["IC"])


@pytest.mark.skipif(not CARDIAC.is_file(), reason=f"no table at {CARDIAC}")
def test_cardiac_output_with_changing_truth() -> None:
    found = changing(cardiac())
    assert found.bias == pytest.approx(0.6021667, abs=1e-6) and found.sd == pytest.approx(0.9906241, abs=1e-6)
    assert (found.between, found.within) == (pytest.approx(4.20909, abs=1e-5), pytest.approx(0.170714, abs=1e-6))
    assert found.spread == pytest.approx(4.98182, abs=1e-5)
    assert (found.lower, found.upper) == (pytest.approx(-1.339421, abs=1e-6), pytest.approx(2.543754, abs=1e-6))


@pytest.mark.skipif(not CARDIAC.is_file(), reason=f"no table at {CARDIAC}")
def test_cardiac_output_with_constant_truth() -> None:
    found = constant_pairs(cardiac())
    assert found.bias == pytest.approx(0.709236, abs=1e-6) and found.sd == pytest.approx(1.051851, abs=1e-6)
    assert found.within == pytest.approx(0.107228, abs=1e-6)
    assert found.within_reference == pytest.approx(0.137874, abs=1e-6)
    assert (found.between, found.spread) == (pytest.approx(0.912691, abs=1e-6), pytest.approx(0.790278, abs=1e-6))


@pytest.mark.skipif(not CARDIAC.is_file(), reason=f"no table at {CARDIAC}")
def test_cardiac_output_percentage_error() -> None:
    pairs = cardiac()
    turned = Pairs(pairs.subject, pairs.reference, pairs.tested)
    found = percentage(turned, changing(turned))
    assert found.mean_reference == pytest.approx(5.324) and found.error == pytest.approx(0.365, abs=5e-4)


@pytest.mark.skipif(not PRESSURE.is_file(), reason=f"no table at {PRESSURE}")
def test_systolic_pressure() -> None:
    table = columns(PRESSURE)
    subject = table["item"].astype(int)
    first = table["repl"] == 1
    single = plain(pairs_of(subject[first], table["J"][first], table["S"][first]))
    assert (single.bias, single.sd) == (pytest.approx(-16.294118, abs=1e-6), pytest.approx(19.610993, abs=1e-6))
    assert (single.lower, single.upper) == (pytest.approx(-54.73, abs=5e-3), pytest.approx(22.14, abs=5e-3))
    machine = constant_pairs(pairs_of(subject, table["J"], table["S"]))
    assert machine.sd == pytest.approx(20.9489, abs=1e-4)
    assert machine.within == pytest.approx(37.408, abs=1e-3)
    assert machine.within_reference == pytest.approx(83.141, abs=1e-3)


@pytest.mark.skipif(not PRESSURE.is_file(), reason=f"no table at {PRESSURE}")
def test_criteria_of_iso_81060_2() -> None:
    table = columns(PRESSURE)
    subject = table["item"].astype(int)
    bad = criteria(pairs_of(subject, table["S"], 0.5 * (table["J"] + table["R"])))
    assert (bad.pairs, bad.subjects) == (255, 85) and not bad.first and not bad.second
    assert (bad.bias_mmHg, bad.sd_mmHg) == (pytest.approx(15.663, abs=1e-3), pytest.approx(20.255, abs=1e-3))
    assert bad.means_sd_mmHg == pytest.approx(18.852, abs=1e-3)
    good = criteria(pairs_of(subject, table["J"], table["R"]))
    assert good.first and good.second and good.enough
    assert (good.bias_mmHg, good.sd_mmHg) == (pytest.approx(0.0863, abs=1e-4), pytest.approx(2.2607, abs=1e-4))


def test_table_of_criterion_two() -> None:
    """The standard's own table, second-hand."""
    wanted = [6.947, 6.874, 6.649, 6.248, 5.635, 4.806]
    assert [allowed_sd_mmHg(float(bias)) for bias in range(6)] == pytest.approx(wanted, abs=5e-4)


def output(least_quality: float = -1.0) -> Pairs:
    loadmat = pytest.importorskip("scipy.io").loadmat
    rows, subject = [], []
    for number, (table, _) in enumerate(loadmat(OUTPUT)["alg5c1s0"]):
        rows += table.astype(float).tolist()
        subject += [number] * len(table)
    data = np.array(rows)  # single precision in the file: changes of 0.5 may be a little less
    kept = data[:, 5] >= least_quality
    return pairs_of(np.array(subject)[kept], data[kept, 3], data[kept, 2])


@pytest.mark.skipif(not OUTPUT.is_file(), reason=f"no pairs at {OUTPUT}")
def test_thermodilution_of_120_subjects() -> None:
    """Between subjects the differences scatter less than within: the negative variance is set to nothing."""
    pairs = output()
    found = changing(pairs)
    assert (found.pairs, found.subjects) == (1351, 120) and found.between < found.within
    assert (found.bias, found.sd) == (pytest.approx(-0.0873, abs=1e-4), pytest.approx(1.0171, abs=1e-4))
    assert plain(pairs).sd == pytest.approx(0.9826, abs=1e-4)
    assert percentage(pairs, found).error == pytest.approx(0.387, abs=5e-4)
    good = output(90.0)
    assert (good.sizes.sum(), plain(good).bias) == (987, pytest.approx(-0.1526, abs=1e-4))
    assert changing(good).sd == pytest.approx(0.8545, abs=1e-4)


@pytest.mark.skipif(not OUTPUT.is_file(), reason=f"no pairs at {OUTPUT}")
def test_trending_of_120_subjects() -> None:
    changes = changes_of(output())
    fixed, share = trending(changes, 0.5), trending(changes, 0.15, share=True)
    assert (fixed.changes, fixed.outside) == (1231, 657) and fixed.concordance == pytest.approx(0.6499, abs=1e-4)
    assert share.outside == 444 and share.concordance == pytest.approx(0.6847, abs=1e-4)
    assert fixed.polar == 504 and fixed.angle_deg == pytest.approx(-6.8, abs=0.05)
    assert fixed.limits_deg == pytest.approx(59.4, abs=0.05) and fixed.within_30 == pytest.approx(0.593, abs=5e-4)


def has_epir() -> bool:
    if shutil.which("Rscript") is None:
        return False
    asked = subprocess.run(["Rscript", "-e", "library(epiR)"], capture_output=True, check=False)
    return asked.returncode == 0


@pytest.mark.skipif(not has_epir(), reason="no R with epiR: apt-get install r-cran-epir")
def test_against_epir(tmp_path: Path) -> None:
    random = np.random.default_rng(7)
    subject = np.repeat(np.arange(15), 4)
    reference = 5.0 + random.standard_normal(60)
    tested = reference + 0.3 + 0.5 * random.standard_normal(15)[subject] + 0.2 * random.standard_normal(60)
    path = tmp_path / "pairs.csv"
    path.write_text("s,a,b\n" + "".join(f"{s},{a!r},{b!r}\n" for s, a, b in zip(
        subject.tolist(), tested.tolist(), reference.tolist(), strict=True)))
    script = (f'library(epiR); d <- read.csv("{path}"); '
              'z <- epi.ccc(d$a, d$b, rep.measure = TRUE, subjectid = d$s)$sblalt; '
              'cat(format(c(z$est, z$lower, z$upper), digits = 15))')
    said = subprocess.run(["Rscript", "-e", script], capture_output=True, text=True, check=True).stdout.split()
    found = changing(pairs_of(subject, tested, reference))
    bias, lower, upper = (float(word) for word in said)
    assert abs(bias) == pytest.approx(abs(found.bias), abs=1e-6)
    assert upper - lower == pytest.approx(found.upper - found.lower, abs=1e-6)
