"""The `cellstep` command: one small file a sub-command."""
