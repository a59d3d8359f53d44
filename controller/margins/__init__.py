"""What judges a loop: sampled loop, frequency response, margins, phase budget."""
