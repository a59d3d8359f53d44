"""What word length a fixed-point law needs: noise, blind errors, dead bands, margins, stalls, and a recommendation."""
