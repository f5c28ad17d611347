"""Jobs on record: schema and migrations, photo store, filing, export, verify."""
