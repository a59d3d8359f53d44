"""What can happen to a finger and its circulation during a run."""
