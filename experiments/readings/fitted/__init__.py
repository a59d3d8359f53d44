"""Constants of the readings, fitted on virtual people: how they come about, and the file that holds them."""
