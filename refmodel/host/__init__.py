"""Host programs, and the processor that puts their accesses on a bus of some shape."""
