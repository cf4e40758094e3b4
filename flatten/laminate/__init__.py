"""Plies together: order, thickness, resin."""
