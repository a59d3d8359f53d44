"""How numbers on the command line are read."""
from experiments.commands import options


def test_numbers_of_the_command_line():
    assert options.number("1e-3") == 0.001 and options.whole_number("12") == 12
    assert options.number(0.5) == 0.5 and options.whole_number(3) == 3
