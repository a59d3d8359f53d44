"""Real people's output against ours of their pressure, and another group's virtual people against ours.

Looked for in `$CUFFLOOP_SHARED_DATA/readings` (or ../shared/data/readings); none of it may be passed on:

- `5cc_MIMIC_features.csv`: 737 rows of 88 people in intensive care with thermodilution and features of their arterial
  pressure, among them the ratio of Liljestrand and Zander (Alan991/Cardiac-output-estimation, commit f206658, no
  licence stated). Worked out beforehand, apart from this code: a constant 50.4 %, Liljestrand–Zander with one constant
  for all 58.7 %.
- `zao.csv`: 3,818 virtual people of another model (Vicbi/ZaoCT-PWV-Estimation, commit b91b2c4, Apache-2.0), their total
  compliance and characteristic impedance by carotid–femoral velocity: log C = 5.80 − 2.77 log PWV, r² 0.70;
  log Z_c = −6.04 + 1.51 log PWV, r² 0.82.
"""
import csv
import os
from pathlib import Path

import numpy as np
import pytest

from experiments.readings.agreement.limits import changing
from experiments.readings.agreement.pairs import pairs_of
from experiments.readings.agreement.percentage import percentage
from experiments.readings.people.judged import percentage_error
from plant.circulation.network import responses
from plant.circulation.person import beds_of, person_of, scale_of, usual_physiology

TOP = Path(__file__).resolve().parents[4]
READINGS = Path(os.environ.get("CUFFLOOP_SHARED_DATA", TOP.parent / "shared" / "data")) / "readings"
PEOPLE, OTHERS = READINGS / "5cc_MIMIC_features.csv", READINGS / "zao.csv"


@pytest.mark.skipif(not PEOPLE.is_file(), reason=f"no features of people in intensive care at {PEOPLE}")
def test_on_people_one_constant_for_all_is_better_than_liljestrand_zander() -> None:
    with PEOPLE.open() as file:
        rows = list(csv.DictReader(file))
    output, ratio, rate = (np.array([float(row[name]) for row in rows]) for name in ("CO", "li_za_ave_9", "HR_ave_9"))
    subjects = np.array([int(float(row["ID"])) for row in rows])
    assert len(output) == 737 and len(np.unique(subjects)) == 88
    estimated = ratio * rate * (np.mean(output) / np.mean(ratio * rate))
    assert percentage_error(estimated, output) == pytest.approx(58.7, abs=0.05)
    assert percentage_error(np.full(len(output), np.mean(output)), output) == pytest.approx(50.4, abs=0.05)
    found = pairs_of(subjects, estimated, output)
    assert 100.0 * percentage(found, changing(found)).null == pytest.approx(50.4, abs=0.05)


@pytest.mark.skipif(not OTHERS.is_file(), reason=f"no virtual people of others at {OTHERS}")
def test_compliance_falls_with_velocity_as_in_another_model() -> None:
    with OTHERS.open() as file:
        rows = list(csv.DictReader(file))
    velocity, compliance, impedance = (
        np.log([float(row[name]) for row in rows]) for name in ("cfPWV_tang", "CT_sys", "Z_compl"))
    law = np.polyfit(velocity, compliance, 1)
    assert law == pytest.approx([-2.77, 5.80], abs=0.006)
    assert np.polyfit(velocity, impedance, 1) == pytest.approx([1.51, -6.04], abs=0.006)
    assert np.corrcoef(velocity, compliance)[0, 1] ** 2 == pytest.approx(0.70, abs=0.005)
    ours, theirs = [], []
    for age in (25.0, 45.0, 65.0):
        person = person_of(age, "m")
        state = usual_physiology(person)
        scale = scale_of(person, state)
        still, slow = responses(scale, beds_of(scale, state), np.array([0.0, 0.02])).root
        ours.append(float((1.0 / slow).imag) / (2.0 * np.pi * 0.02))  # 1/Z = 1/R + jωC when it is slow enough
        theirs.append(float(np.exp(np.polyval(law, np.log(state.velocity_m_s)))))
        assert float(still.real) == pytest.approx(state.resistance_mmHg_s_mL, rel=1e-6)
    assert np.all(np.diff(ours) < 0.0) and np.all(np.diff(theirs) < 0.0)
    assert np.all(np.abs(np.log(np.array(ours) / theirs)) < np.log(2.0)), (ours, theirs)
