"""The control law on integers: its words, its plan of formats with a proof, and what rounding does to the loop."""
