"""Components of our own that run in the browser."""
