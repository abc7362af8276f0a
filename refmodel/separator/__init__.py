"""Data separators: from the cycles of flux pulses to channel bits, and what went wrong."""
