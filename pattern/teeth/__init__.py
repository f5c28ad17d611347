"""Finding the sides of painted teeth, and the map between pixels and tooth coordinates."""
