"""The shape, and where a ply lies on it."""
