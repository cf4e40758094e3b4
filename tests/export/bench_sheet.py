"""A lay-up sheet with everything on it: the hatch cover's, on a dome of our own."""

from __future__ import annotations

import numpy as np
from export.kit import PART, kit_of_patterns

from flatten.export.layup_facts import (
    Batch,
    Kit,
    LayupSheet,
    MouldPicture,
    Region3D,
    StackRow,
    TackPlace,
)
from flatten.finding import Finding

CAUTIONS = (
    "Numbers here are estimates: data sheets, local rules and a licensed practitioner decide.",
    "Uncured resin and hardener can sensitise skin for life: nitrile or butyl gloves, changed "
    "often, no skin contact.",
    "Mixed resin heats in the pot: spread it at once; carry a hot pot outdoors.",
    "Trimming and sanding: extract at the source or wet, wear a fitted dust mask.",
    "Carbon dust conducts: keep it away from motors, chargers and sockets.",
    "Cured edges and stray fibres cut: gloves on until the edges are sealed.",
)
CARBON, GLASS = "carbon twill 210 g/m²", "glass plain 160 g/m²"


def dome(rings: int = 24, spokes: int = 72) -> tuple[np.ndarray, np.ndarray]:
    """An oval dome with a flat flange, in rings around its top."""
    r = np.concatenate([[0.0], np.arange(1, rings + 1) / rings])
    turn = np.linspace(0, 2 * np.pi, spokes, endpoint=False)
    inside = np.clip(r / 0.8, 0, 1)
    z = 70 * np.sqrt(1 - inside**2 * (1 - 1e-9)) * (inside < 1)
    points = [[0.0, 0.0, 70.0]]
    for k in range(1, rings + 1):
        x, y = 250 * r[k] * np.cos(turn), 180 * r[k] * np.sin(turn)
        points += np.column_stack([x, y, np.full(spokes, z[k])]).tolist()
    faces = [[0, 1 + j, 1 + (j + 1) % spokes] for j in range(spokes)]
    for k in range(rings - 1):
        a, b = 1 + k * spokes, 1 + (k + 1) * spokes
        for j in range(spokes):
            i = (j + 1) % spokes
            faces += [[a + j, b + j, b + i], [a + j, b + i, a + i]]
    return np.array(points), np.array(faces)


def picture() -> MouldPicture:
    """The dome with two regions, tack point and named edges."""
    vertices, faces = dome()
    middle = vertices[faces].mean(axis=1)
    whole = np.flatnonzero((middle[:, 0] / 250) ** 2 + (middle[:, 1] / 180) ** 2 < 0.85)
    patch = np.flatnonzero(((middle[:, 0] - 110) / 70) ** 2 + (middle[:, 1] / 60) ** 2 < 1)
    points = {"A": (230, 0, 0), "B": (0, 166, 0), "C": (-230, 0, 0), "D": (0, -166, 0)}
    return MouldPicture(
        vertices=vertices,
        faces=faces,
        zero=np.array([1.0, 0, 0]),
        normal=np.array([0, 0, 1.0]),
        regions=(Region3D(plies="1, 2, 3", faces=whole), Region3D(plies="4", faces=patch)),
        tack=np.array([0, 0, 70.0]),
        edges=tuple((name, np.array(point, float)) for name, point in points.items()),
    )


def full_sheet(part: str = PART, **other) -> LayupSheet:
    """Every part of the sheet filled in."""
    plies = (
        ("outer skin", CARBON, "0°", 24.6),
        ("middle skin", CARBON, "+45°", 25.1),
        ("inner skin", CARBON, "0°", 24.4),
        ("hinge patch", GLASS, "0°", 2.1),
    )
    given = {
        "part": part,
        "job": "a41c09e2",
        "process": "hand lay-up",
        "stack": tuple(
            StackRow(
                number=i,
                name=name,
                fabric=fabric,
                angle=angle,
                side="tool side down",
                cloth_g=grams,
                resin_g=1.2 * grams,
            )
            for i, (name, fabric, angle, grams) in enumerate(plies, start=1)
        ),
        "patterns": tuple(kit_of_patterns(part)),
        "mould": picture(),
        "places": (
            TackPlace(
                plies="all plies",
                edges=("C", "D"),
                tack_mm=(252.3, 187.2),
                ahead_mm=(352.3, 187.2),
                ahead_by_mm=100,
            ),
        ),
        "cutting": (f"{CARBON}: outer, middle and inner skin", f"{GLASS}: hinge patch"),
        "kits": (
            Kit(title="kit 1", fabric=CARBON, plies="1, 2, 3", pieces=3),
            Kit(title="kit 1", fabric=GLASS, plies="4", pieces=1),
        ),
        "joints": ("Ply 2: the halves lap by 25 mm, the left one lies under; notches 1 to 3.",),
        "stipple": ("Where the dome meets the flange, all around (radius 6 mm).",),
        "batches": (
            Batch(number=1, resin_g=61.2, hardener_g=18.4, plies="1, 2"),
            Batch(number=2, resin_g=48.0, hardener_g=14.4, plies="3, 4"),
        ),
        "mix": "100 : 30 by weight",
        "pot_life_min": 30.0,
        "consumables": (("peel ply", "0.14 m²"), ("release agent", "4 coats, 6 g")),
        "thickness": "1.0 mm, 1.2 mm at the patch",
        "mass_g": 168.0,
        "cautions": CAUTIONS,
        "findings": (
            Finding(code="draft", severity="note", message="The least draft is 4.2°."),
            Finding(
                code="shear",
                severity="warning",
                ply_id="ply1",
                message="It shears to 42° near the corners; the cloth locks at 45°.",
                hint="Work the bias from the tack point outwards, or cut a dart.",
            ),
        ),
    }
    return LayupSheet(**(given | other))
