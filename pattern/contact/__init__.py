"""Tell marking compound from metal on a tooth side, and find the contact patch."""
