"""Firmware on an emulated microcontroller: built for it, run instruction by instruction, counted."""
