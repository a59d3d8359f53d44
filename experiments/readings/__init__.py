"""From the clamp to the readings: beats, upper-arm pressure, stroke volume, variation, resistance, agreement."""
