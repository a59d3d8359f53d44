"""What the firmware's commands do: C, any firmware in the loop, units for other simulators, words."""
