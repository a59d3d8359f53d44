"""What the firmware cannot change: blood pressure, artery, light, pneumatics, transducers, and their linear twins."""
