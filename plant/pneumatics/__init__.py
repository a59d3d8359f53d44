"""Air: supply, valves, tube, cuff, and every other way that air can take."""
