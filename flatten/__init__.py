"""mouldply's engine: from a mould surface and a stack of plies to cut files. Knows no Blender."""

__version__ = "0.1.0"
