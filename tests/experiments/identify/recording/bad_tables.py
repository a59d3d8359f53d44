"""A good recording's columns, and ways in which recordings are bad."""
import numpy as np

RATE_Hz = 1000.0


def good(seed=1):
    """Columns of a step answered with a lag, at rest for a tenth of a second; noise and steps of a converter."""
    time_s = np.arange(1000) / RATE_Hz
    command = np.where((time_s > 0.1) & (time_s < 0.6), 0.5, 0.0)
    pressure = np.zeros(1000)
    for k in range(999):
        pressure[k + 1] = pressure[k] + (200.0 * command[k] - pressure[k]) * 0.02
    noisy = pressure + 0.05 * np.random.default_rng(seed).standard_normal(1000)
    return {"time_s": time_s, "command": command, "reading_mmHg": np.round(noisy / 0.01) * 0.01}


def changed(columns, **new):
    return {**columns, **new}


def gap(columns):
    return {name: np.delete(values, slice(300, 320)) for name, values in columns.items()}


def clipped(columns):
    return changed(columns, reading_mmHg=np.minimum(columns["reading_mmHg"], 80.0))


def swapped(columns):
    pressure = columns["reading_mmHg"]
    return changed(columns, command=pressure, reading_mmHg=columns["command"])


def not_a_number(columns):
    values = columns["reading_mmHg"].copy()
    values[77] = np.nan
    return changed(columns, reading_mmHg=values)


def backwards(columns):
    time_s = columns["time_s"].copy()
    time_s[500] = 0.2
    return changed(columns, time_s=time_s)


def early(columns):
    return changed(columns, reading_mmHg=np.roll(columns["reading_mmHg"], -40))


BAD = {  # what is wrong: how, and a word of the line
    "gap": (gap, "gap of 0.021 s"), "clipped": (clipped, "reading_mmHg is clipped"),
    "swapped": (swapped, "look swapped"), "no number": (not_a_number, "row 78: reading_mmHg is not a finite number"),
    "backwards": (backwards, "does not increase"), "early": (early, "before the command does"),
    "pascal": (lambda c: changed(c, reading_mmHg=133.322 * c["reading_mmHg"]), "looks like Pa"),
    "per cent": (lambda c: changed(c, command=100.0 * c["command"]), "per cent or volts"),
    "milliampere": (lambda c: changed(c, command=4.0 + 16.0 * c["command"]), "looks like mA"),
    "milliseconds": (lambda c: changed(c, time_s=1000.0 * c["time_s"]), "divide time_s by 1000"),
    "still command": (lambda c: changed(c, command=0.0 * c["command"]), "too little excitation: the command"),
    "no answer": (lambda c: changed(c, reading_mmHg=0.05 * np.random.default_rng(2).standard_normal(1000)),
                  "too little excitation: reading_mmHg"),
    "unknown column": (lambda c: changed(c, p1=c["command"]), "column 'p1' is not known"),
    "no command": (lambda c: {k: v for k, v in c.items() if k != "command"}, "column command"),
    "nothing measured": (lambda c: {k: v for k, v in c.items() if k != "reading_mmHg"}, "nothing was measured"),
    "short": (lambda c: {k: v[:150] for k, v in c.items()}, "150 samples"),
    "drifting clock": (lambda c: changed(c, time_s=c["time_s"] + 0.01 * c["time_s"] ** 2), "clock drifts"),
    "slow": (lambda c: changed(c, time_s=10.0 * c["time_s"]), "at least 200 are needed"),
    "fast": (lambda c: changed(c, time_s=1e-3 * c["time_s"]), "at most 50000"),
}


def write(path, columns):
    """The columns as CSV."""
    np.savetxt(path, np.column_stack(list(columns.values())), delimiter=",", header=",".join(columns), comments="",
               fmt="%.9g")
    return path
