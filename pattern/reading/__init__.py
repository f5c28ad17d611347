"""Measure contact patches in tooth coordinates and combine teeth and photos into one reading."""
