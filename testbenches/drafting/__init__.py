"""Drafts a binding from a core that has none: which port plays which role, and how sure that is."""
