"""The bench: turn a knob and see the loop answer, in a browser, in a notebook, or in a file that needs no server."""
