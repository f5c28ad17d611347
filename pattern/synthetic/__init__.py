"""Developers only: rendered photos with known truth, and the training of the reader."""
