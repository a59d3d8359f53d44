"""The finger under the cuff: tissue, artery, veins, vasomotor tone, and the light that passes through."""
