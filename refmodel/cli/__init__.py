"""The `cellstep` command: one small file a subcommand."""
