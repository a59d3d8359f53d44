"""From bench recordings to a rig file, with intervals."""
