"""Commands to be played on a bench, and the sheet that goes with them."""
