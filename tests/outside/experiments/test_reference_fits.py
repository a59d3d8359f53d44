"""The fitting code on reference problems: NIST's nonlinear regressions, and thermometer calibration in the GUM.

NIST Statistical Reference Datasets, nonlinear regression (public domain): 27 problems, each from both starting points,
certified to eleven digits. The files are looked for in `$CUFFLOOP_SHARED_DATA/nist` (or ../shared/data/nist).
GUM: JCGM 100:2008, example H.3, values from memory.
"""
import os
import re
from pathlib import Path

import numpy as np
import pytest

from experiments.identify.fit.solve import covariance, gauss_newton, hard

TOP = Path(__file__).resolve().parents[3]
FOLDER = Path(os.environ.get("CUFFLOOP_SHARED_DATA", TOP.parent / "shared" / "data")) / "nist"
needs_files = pytest.mark.skipif(not FOLDER.is_dir(), reason=f"no NIST files at {FOLDER} (CUFFLOOP_SHARED_DATA)")


def chwirut(b, x):
    return np.exp(-b[0] * x) / (b[1] + b[2] * x)


def gauss(b, x):
    return (b[0] * np.exp(-b[1] * x) + b[2] * np.exp(-((x - b[3]) ** 2) / b[4] ** 2)
            + b[5] * np.exp(-((x - b[6]) ** 2) / b[7] ** 2))


def lanczos(b, x):
    return b[0] * np.exp(-b[1] * x) + b[2] * np.exp(-b[3] * x) + b[4] * np.exp(-b[5] * x)


def cubic_ratio(b, x):
    return (b[0] + b[1] * x + b[2] * x**2 + b[3] * x**3) / (1.0 + b[4] * x + b[5] * x**2 + b[6] * x**3)


def enso(b, x):
    turns = 2.0 * np.pi * x
    return (b[0] + b[1] * np.cos(turns / 12.0) + b[2] * np.sin(turns / 12.0) + b[4] * np.cos(turns / b[3])
            + b[5] * np.sin(turns / b[3]) + b[7] * np.cos(turns / b[6]) + b[8] * np.sin(turns / b[6]))


MODELS = {
    "Bennett5": lambda b, x: b[0] * (b[1] + x) ** (-1.0 / b[2]),
    "BoxBOD": lambda b, x: b[0] * (1.0 - np.exp(-b[1] * x)),
    "Chwirut1": chwirut, "Chwirut2": chwirut,
    "DanWood": lambda b, x: b[0] * x ** b[1],
    "ENSO": enso,
    "Eckerle4": lambda b, x: b[0] / b[1] * np.exp(-0.5 * ((x - b[2]) / b[1]) ** 2),
    "Gauss1": gauss, "Gauss2": gauss, "Gauss3": gauss,
    "Hahn1": cubic_ratio,
    "Kirby2": lambda b, x: (b[0] + b[1] * x + b[2] * x**2) / (1.0 + b[3] * x + b[4] * x**2),
    "Lanczos1": lanczos, "Lanczos2": lanczos, "Lanczos3": lanczos,
    "MGH09": lambda b, x: b[0] * (x**2 + x * b[1]) / (x**2 + x * b[2] + b[3]),
    "MGH10": lambda b, x: b[0] * np.exp(b[1] / (x + b[2])),
    "MGH17": lambda b, x: b[0] + b[1] * np.exp(-x * b[3]) + b[2] * np.exp(-x * b[4]),
    "Misra1a": lambda b, x: b[0] * (1.0 - np.exp(-b[1] * x)),
    "Misra1b": lambda b, x: b[0] * (1.0 - (1.0 + b[1] * x / 2.0) ** -2),
    "Misra1c": lambda b, x: b[0] * (1.0 - (1.0 + 2.0 * b[1] * x) ** -0.5),
    "Misra1d": lambda b, x: b[0] * b[1] * x / (1.0 + b[1] * x),
    "Nelson": lambda b, x: b[0] - b[1] * x[0] * np.exp(-b[2] * x[1]),
    "Rat42": lambda b, x: b[0] / (1.0 + np.exp(b[1] - b[2] * x)),
    "Rat43": lambda b, x: b[0] / (1.0 + np.exp(b[1] - b[2] * x)) ** (1.0 / b[3]),
    "Roszman1": lambda b, x: b[0] - b[1] * x - np.arctan(b[2] / (x - b[3])) / np.pi,
    "Thurber": cubic_ratio,
}


def problem_of(name):
    """Data (y, x), both starts (2, p), certified values and standard deviations."""
    lines = (FOLDER / f"{name}.dat").read_text(errors="replace").splitlines()
    rows = [re.match(r"\s*b\d+\s*=\s*(\S+)\s+(\S+)\s+(\S+)\s+(\S+)", line) for line in lines]
    table = np.array([[float(cell) for cell in row.groups()] for row in rows if row])
    first, last = (int(n) for n in re.search(r"Data\s+\(lines\s+(\d+)\s+to\s+(\d+)\)", "\n".join(lines[:12])).groups())
    data = np.array([[np.longdouble(cell) for cell in line.split()] for line in lines[first - 1 : last]])
    x = data[:, 1] if data.shape[1] == 2 else data[:, 1:].T
    y = np.log(data[:, 0]) if name == "Nelson" else data[:, 0]
    return y, x, table[:, :2].T, table[:, 2], table[:, 3]


def fitted(model, y, x, start):
    """Values and standard deviations by our own code; slopes by a complex step (Squire & Trapp 1998).

    Residuals are taken in extended precision: those of Lanczos1 are a few roundings of a double.
    """
    plain = x.astype(float)
    scale = np.where(start != 0.0, np.abs(start), 1.0)

    def evaluate(place):
        b = (place * scale).astype(complex)
        with np.errstate(all="ignore"):
            residuals = np.asarray(model(place.astype(np.longdouble) * scale, x) - y, float)
            columns = []
            for i in range(len(b)):
                moved = b.copy()
                moved[i] += 1e-30j * scale[i]
                columns.append(model(moved, plain).imag / 1e-30)
        return (np.nan_to_num(residuals, nan=1e150, posinf=1e150, neginf=-1e150),
                np.nan_to_num(np.column_stack(columns), nan=0.0, posinf=1e150, neginf=-1e150))

    wide = np.full(len(start), np.inf)
    found = hard(evaluate, start / scale, (-wide, wide))
    rest = found.residuals + found.jacobian @ gauss_newton(found.residuals, found.jacobian)  # less the values' rounding
    variance = float(rest @ rest) / (len(y) - len(start))
    return found.x * scale, np.sqrt(variance * np.diag(covariance(found.jacobian))) * scale


def digits(found, certified):
    """Least number of digits that agree."""
    return float(np.min(-np.log10(np.maximum(np.abs(found / certified - 1.0), 1e-16))))


@needs_files
@pytest.mark.parametrize("start", [0, 1])
@pytest.mark.parametrize("name", MODELS)
def test_certified_values(name, start):
    """Parameters to six digits, standard deviations to four."""
    y, x, starts, certified, deviations = problem_of(name)
    values, found = fitted(MODELS[name], y, x, starts[start])
    assert digits(values, certified) >= 6.0
    assert digits(found, deviations) >= 4.0


def test_a_thermometers_calibration():
    """Correction b1 + b2 (t − 20 °C) to eleven readings: values, uncertainties, correlation, and at 30 °C."""
    t = np.array([21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511])
    y = np.array([-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160])
    slopes = np.column_stack([np.ones(11), t - 20.0])
    found = hard(lambda b: (slopes @ b - y, slopes), np.zeros(2), (np.full(2, -np.inf), np.full(2, np.inf)))
    variance = 2.0 * found.cost / 9.0
    spread = variance * covariance(found.jacobian)
    u = np.sqrt(np.diag(spread))
    assert np.round(found.x[0], 4) == -0.1712 and np.round(u[0], 4) == 0.0029
    assert np.round(found.x[1], 5) == 0.00218 and np.round(u[1], 5) == 0.00067
    assert np.round(spread[0, 1] / (u[0] * u[1]), 3) == -0.930 and np.round(np.sqrt(variance), 4) == 0.0035
    at_30 = np.array([1.0, 10.0])
    assert np.round(at_30 @ found.x, 4) == -0.1494 and np.round(np.sqrt(at_30 @ spread @ at_30), 4) == 0.0041
