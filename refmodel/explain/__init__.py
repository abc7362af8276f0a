"""One moment of a scenario explained: a table with causes, a timing diagram, a drawing."""
