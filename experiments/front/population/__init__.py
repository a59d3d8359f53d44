"""Functions that judge a rig on many fingers."""
