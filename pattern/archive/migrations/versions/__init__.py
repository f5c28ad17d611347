"""One module a schema version, oldest first by number. Never edit one that was released."""
