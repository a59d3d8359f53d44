"""Stroke volume, output, their variation with the breath, and vascular resistance, from beats of pressure."""
