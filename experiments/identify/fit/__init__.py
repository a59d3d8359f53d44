"""Parameters from recordings, with what they are worth."""
