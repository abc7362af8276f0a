"""Data separators: from the cycles of flux pulses to channel bits, one design a file."""
