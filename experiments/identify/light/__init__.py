"""The light path and the artery in it: from a lamp step on a phantom and a slow ramp on a finger."""
