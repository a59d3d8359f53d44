"""What runs on the tick: control law, actuator stage, modes, and the parameters they are written in."""
