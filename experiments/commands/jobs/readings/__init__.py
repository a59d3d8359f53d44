"""Jobs of the commands about readings."""
