"""What each command does: read, compute, print, write."""
