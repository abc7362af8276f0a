"""Timing checks of protected disks: what each measures, and whether a core would pass."""
