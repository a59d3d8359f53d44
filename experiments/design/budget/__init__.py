"""What each part of a rig costs, and which spreads matter."""
