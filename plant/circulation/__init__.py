"""A person's arterial circulation, from the aortic valve to the finger: one truth for flow and all pressures."""
