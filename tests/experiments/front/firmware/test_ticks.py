"""Ticks as labelled data: what a run without ticks leaves."""
from experiments.front.firmware.ticks import ticks_dataset


def test_a_firmware_that_did_not_begin_has_its_attributes_only():
    empty = ticks_dataset(None, {"rig": "wrist"}, {})
    assert not empty.data_vars and empty.attrs == {"rig": "wrist"}
