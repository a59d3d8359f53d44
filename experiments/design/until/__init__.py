"""How far a number of a rig can go until a limit breaks."""
