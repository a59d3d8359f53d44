"""The main job: margins, budget and tracking of a rig, and the verdict on its requirements."""
