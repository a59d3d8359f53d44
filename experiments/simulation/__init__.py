"""The coupled simulation: firmware on its tick, plant in between; one run, many fingers, with failures."""
