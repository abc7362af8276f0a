"""`make bench`: the speeds that the design promises, measured and set beside their targets."""
