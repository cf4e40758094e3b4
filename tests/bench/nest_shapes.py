"""Ply-like shapes for the nesting benchmark: smooth, 130 vertices, 120 to 700 mm long."""

import numpy as np

from flatten.nest.piece import NestPiece

VERTICES = 130
SHORTEST_MM, LONGEST_MM = 120.0, 700.0


def ply_outline(rng: np.random.Generator) -> np.ndarray:
    """Return (130, 2) mm: a rounded box, bent and bulged as flattened plies are.

    A superellipse (2 is an ellipse, 8 nearly a rectangle) with a gently bent axis and two low
    waves along its edge; turned at random, as plies are cut at 0, 45, 90 degrees and between.
    """
    length = rng.uniform(SHORTEST_MM, LONGEST_MM)
    width = length * rng.uniform(0.25, 0.9)
    power = 2 / rng.uniform(2, 8)
    angle = np.linspace(0, 2 * np.pi, VERTICES, endpoint=False)
    cosine, sine = np.cos(angle), np.sin(angle)
    x = length / 2 * np.sign(cosine) * np.abs(cosine) ** power
    y = width / 2 * np.sign(sine) * np.abs(sine) ** power
    wave = (
        1
        + 0.04 * np.cos(2 * angle + rng.uniform(0, 6))
        + 0.04 * np.cos(3 * angle + rng.uniform(0, 6))
    )
    x, y = x * wave, y * wave
    y = y + rng.uniform(-0.25, 0.25) * width * (2 * x / length) ** 2
    turn = np.radians(rng.choice([0, 45, 90, 135]) + rng.uniform(-10, 10))
    points = np.column_stack([x, y]) @ [
        [np.cos(turn), np.sin(turn)],
        [-np.sin(turn), np.cos(turn)],
    ]
    extent = np.ptp(points, axis=0).max()
    return points * np.clip(extent, SHORTEST_MM, LONGEST_MM) / extent


def ply_pieces(count: int, seed: int = 7, fabric: str = "cloth") -> list[NestPiece]:
    """Return `count` different pieces."""
    rng = np.random.default_rng(seed)
    return [
        NestPiece(id=f"P{number:04d}", outline=ply_outline(rng), fabric=fabric)
        for number in range(count)
    ]
