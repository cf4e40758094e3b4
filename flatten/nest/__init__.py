"""Patterns on the roll."""
