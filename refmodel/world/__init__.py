"""A scenario set going: the disk turns, the host program runs, the block answers."""
