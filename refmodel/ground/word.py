"""The width of the registers, of a bus word and of a memory word."""

WORD_BITS = 16
WORD = (1 << WORD_BITS) - 1
