"""Verilog that ships with Cellstep: reference cores, a ports-only stub, a catalogue of defects."""
