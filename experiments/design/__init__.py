"""Studies for a design: sweeps, tuning, budget."""
