"""Searching: an abstract problem, the exhaustive sweep, the evolution, and the archive both of them fill."""
