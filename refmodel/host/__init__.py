"""The host processor's side: programs that access registers, and scenarios that put them to work."""
