"""One moment explained, a mismatch too: a table with causes, a timing diagram, a drawing."""
