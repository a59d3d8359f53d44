"""From limits on readings to limits on the loop, and from a loop to what its readings are worth."""
