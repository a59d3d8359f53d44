"""From the tuned law to code on a small processor, and somebody's own code in the loop."""
