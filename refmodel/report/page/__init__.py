"""Pages for a browser: one file each, readable offline, and without JavaScript as well."""
