"""A core and the model proved equal: for every input, in every cycle."""
