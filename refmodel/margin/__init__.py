"""What a data separator survives: trials, the limits found with them, error maps and curves."""
