"""Numbers on the command line: one way to write them everywhere, and absurd ones end in one line."""
import pytest


@pytest.mark.parametrize("arguments", [
    ("search", "--fingers", "1", "--spoiled", "1_000"), ("search", "--finger", "mixed-1-1_000"),
    ("check", "--seed", "1_0"), ("check", "--seconds", "1_0"), ("check", "--seed", "１２"),
    ("check", "--set", "controller.kp=0.00_8"),
    ("check", "--set", "timing.missed_per_hour=1_0"), ("sweep", "controller.kp=0.00_8,0.01"),
    ("sweep", "tube.sections=1:1_0:3"), ("sweep", "tube.sections=1:4:1_0"), ("faults", "--faults", "valve_slow:0_1"),
    ("height", "--sensor", "lag_s=1_0"), ("wear", "--fingers", "1", "--hours", "7_2"),
    ("sweep", "controller.kp=0.1:1:3", "--sample", "1_0"),
])
def test_digits_in_groups_are_refused_everywhere(refusal, arguments):
    assert any(digits in refusal(*arguments) for digits in ("_", "１２"))


@pytest.mark.parametrize("axis", [
    "tube.sections=1:1e80:3", "tube.sections=1:1" + 80 * "0" + ":3", "tube.sections=1:1" + 350 * "0" + ":3",
    "tube.sections=1,1" + 350 * "0", "tube.sections=1:2:1" + 350 * "0", "tube.sections=1:9000000000000000000:3",
    "tube.sections=-9000000000000000000:9000000000000000000:3:log", "controller.kp=0.001:1" + 350 * "0" + ":3",
    "controller.kp=1:1e80:3", "controller.kp=0.001:0.002:1" + 20 * "0",
])
def test_axes_with_absurd_numbers(refusal, axis):
    assert refusal("sweep", axis).startswith("axis ")


@pytest.mark.parametrize(("command", "option"), [
    ("check", "--seed"), ("check", "--seconds"), ("search", "--substeps"), ("faults", "--phases"),
    ("sweep", "--sample")])
def test_hundreds_of_digits(refusal, command, option):
    assert option in refusal(command, *(("controller.kp=1:2:3",) if command == "sweep" else ()), option, "9" * 350)
