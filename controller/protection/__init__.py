"""Protection in the firmware: detectors, fallback states, and the hardware that works without firmware."""
