"""Random rigs on the bench and on the command line: every figure to the last printed digit.

    python -m tests.studies.bench_figures --rigs 50 --seed 1

About two seconds of one core a rig. Ends with status 1 at the first figure that differs.
"""
import argparse
import json
import sys

import numpy as np

from experiments.bench.answers.checked import checked
from experiments.bench.asked import Refused, asked_of
from experiments.bench.knobs import featured, knobs_of
from experiments.bench.repeats import check_command
from experiments.bench.setup import source, usual_setup
from experiments.bench.wire import packed, unpacked
from tests.experiments.conftest import said

SPREAD = 0.25  # of each turned knob, either way
SECONDS = 16.0


def turned(rig, random):
    """Some featured knobs of a rig, each turned a little."""
    knobs = {knob.key: knob for knob in knobs_of(rig)}
    settings = {}
    for key in random.permutation(featured(list(knobs.values())))[:4]:
        knob = knobs[str(key)]
        value = knob.value * (1.0 + SPREAD * random.uniform(-1.0, 1.0))
        settings[str(key)] = min(max(float(f"{value:.4g}"), knob.low), knob.high)
    return settings


def differences(page, command):
    """Keys of the command's document that the page has otherwise, and rows of its ledger that are not the command's."""
    found = [key for key, value in page["document"].items() if command[key] != value]
    for row, verdict in zip(page["ledger"], command["verdicts"], strict=True):
        printed = "none" if verdict["found"] is None else row["found_text"]
        alike = row["found"] in (verdict["found"], "nan") and row["found_text"] == printed
        if not alike or row["kept"] != verdict["passed"]:
            found.append(row["figure"])
    return found


def main():
    """Compare so many random rigs."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rigs", type=int, default=50)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    random, setup = np.random.default_rng(options.seed), usual_setup()._replace(record="synthetic", seconds=SECONDS)
    compared = refused = figures = 0
    while compared < options.rigs:
        rig = setup.rigs[int(random.integers(len(setup.rigs)))]
        asked = asked_of(setup, {"rig": rig, "settings": turned(source(setup, rig).rig(), random)})
        command = said(*check_command(asked).split()[1:], "--json")
        try:
            page = unpacked(packed(next(checked(asked)))).head
        except Refused:
            if command.status != 2:
                sys.exit(f"refused on the page only: {check_command(asked)}")
            refused += 1
            continue
        found = differences(page, json.loads(command.out))
        if found:
            sys.exit(f"{', '.join(found)} differ: {check_command(asked)}")
        compared, figures = compared + 1, figures + len(page["ledger"]) + len(page["figures"])
    print(f"{compared} rigs, {figures} figures, none differs; {refused} more were refused alike")


if __name__ == "__main__":
    main()
