"""What tests of jobs share: short runs, settings, and what a folder holds."""

SHORT = ("--record", "synthetic", "--seconds", "14")
STORM = ("supply.pressure_mmHg=3000.0", "supply.stall_mmHg=5000.0", "supply.volume_mL=100000.0",
         "valve.conductance=1.0", "filling.feedforward_per_mmHg=1.0", "cuff.volume_mL=0.5")  # a rig that diverges


def sets(*changes):
    """`--set` for each change."""
    return [part for change in changes for part in ("--set", change)]


def files(folder):
    """Everything below a folder, by relative path."""
    return sorted(str(p.relative_to(folder)) for p in folder.rglob("*"))
