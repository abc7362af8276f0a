"""The host processor's side: programs that access registers, scenarios that use them."""
