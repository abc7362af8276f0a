"""HDL that ships with Cellstep: cores, separators, a ports-only stub, a catalogue of defects."""
