"""How cloth lies on the shape."""
