"""Open a photo upright, and judge whether it is good enough to read."""
