"""cocotb benches: bindings, the generated harness, player, recorder, lockstep and live host."""
