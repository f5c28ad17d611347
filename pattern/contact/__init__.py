"""Marking compound versus metal, and the contact patch, on one tooth side."""
