"""Measuring a patch in tooth coordinates; combining teeth and photos with their spread."""
