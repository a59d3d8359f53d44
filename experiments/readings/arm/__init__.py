"""From the finger's pressure to that of the upper arm, and what each step of the way leaves open."""
