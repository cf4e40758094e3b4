"""Small jobs for tests of the whole chain: each runs in about a second."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from blend_samples import moulds
from flatten.cloth.library import load_fabrics
from flatten.job import Job, Settings
from flatten.laminate.ply import Ply
from flatten.nest.settings import NestSettings
from flatten.surface.mesh import MouldMesh
from flatten.surface.rosette import Rosette

TWILL = "carbon_twill_210"


def dish(*, across_mm=160.0, depth_mm=14.0, cells=16, rim_mm=30.0):
    """A shallow dish in a flat plate, open below; faces of the dish, faces of the plate."""
    side = np.linspace(-1, 1, cells + 1) * (across_mm / 2 + rim_mm)
    x, y = np.meshgrid(side, side, indexing="xy")
    bowl = np.clip(1 - (x**2 + y**2) / (across_mm / 2) ** 2, 0, None)
    vertices = np.column_stack([x.ravel(), y.ravel(), -depth_mm * bowl.ravel() ** 2])
    n = cells + 1
    corner = (np.arange(cells)[:, None] * n + np.arange(cells)).ravel()
    quads = np.column_stack([corner, corner + 1, corner + 1 + n, corner + n])
    faces = np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])
    middle = vertices[faces].mean(axis=1)
    inside = np.hypot(middle[:, 0], middle[:, 1]) < across_mm / 2
    return MouldMesh(vertices, faces), np.flatnonzero(inside), np.flatnonzero(~inside)


def dish_job(**changes):
    """Two plies of twill at 0 and 45 degrees in the dish."""
    mould, inside, _ = dish()
    fabric = load_fabrics()[TWILL]
    given = {
        "part": "Test dish",
        "mould": mould,
        "plies": (
            Ply(id="p1", name="outer skin", faces=inside, fabric=TWILL),
            Ply(id="p2", name="inner skin", faces=inside, fabric=TWILL, angle_deg=45.0),
        ),
        "rosette": Rosette([0, 0, 0], [1, 0, 0], [0, 0, 1]),
        "fabrics": (fabric,),
        "settings": Settings(nest=NestSettings(seconds=0.0)),
    }
    return Job(**{**given, **changes})


def tray_job(**changes):
    """The telescope tray with a dart up each corner, one ply of twill."""
    shape = moulds.telescope_tray()
    triangles, polygon = [], []
    for number, corners in enumerate(shape.polygons):
        for second, third in pairwise(corners[1:]):
            triangles.append([corners[0], second, third])
            polygon.append(number)
    wanted = [number for zone in ("floor", "wall", "rim", "flange") for number in shape.zones[zone]]
    given = {
        "part": shape.name,
        "mould": MouldMesh(shape.vertices, triangles),
        "plies": (
            Ply(id="p1", name="skin", faces=np.flatnonzero(np.isin(polygon, wanted)), fabric=TWILL),
        ),
        "seams": shape.seams,
    }
    return dish_job(**{**given, **changes})
