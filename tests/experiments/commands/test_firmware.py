"""The commands for whoever writes the firmware, as they are listed."""
from experiments.commands.firmware import COMMANDS


def test_all_commands_are_there(cuffloop) -> None:
    assert [command.__name__ for command in COMMANDS] == ["firmware", "rounding", "loop", "fmu"]
    said = cuffloop("loop", "--help")
    assert said.status == 0 and "--firmware" in said.out
