"""A rig judged on many fingers, each on a rig of its own where a bench left something open."""
