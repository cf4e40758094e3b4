"""Bodies whose patterns are known on paper, opened along seams and laid by the real drape."""

import numpy as np
from pattern.pieces import TWILL

from flatten.cloth.drape import drape_surface
from flatten.pattern.dress import dress
from flatten.pattern.joints import joint_curves
from flatten.pattern.settings import Dressing
from flatten.surface.cut import SeamJoint, cut
from flatten.surface.mesh import MouldMesh
from flatten.surface.refine import refine_patch
from flatten.surface.region import Region

ASKED = {
    "part": "solid",
    "ply_id": "p1",
    "ply_number": 1,
    "ply_name": "skin",
    "fabric": TWILL,
    "angle_deg": 0.0,
}


def patches_of(vertices, faces, seams, *, joint="butt", lap_mm=0.0, refined=True):
    mould = MouldMesh(vertices, faces)
    region = Region("all", np.arange(len(faces)))
    pieces = cut(mould, region, seams=seams, seam_joint=SeamJoint(joint=joint, lap_mm=lap_mm))
    return [refine_patch(piece)[0] for piece in pieces] if refined else pieces


def dressed(patches, places, warp, *, dressing=None, **more):
    """Patterns of patches tacked at `places` (one for each)."""
    curves = joint_curves(patches)
    patterns = []
    for number, (patch, place) in enumerate(zip(patches, places, strict=True), start=1):
        heading = warp(place) if callable(warp) else warp
        drape = drape_surface(patch.surface, TWILL, tack_mm=place, warp=heading)
        patterns.append(
            dress(
                patch,
                drape,
                dressing=dressing or Dressing(),
                curves=curves,
                piece=number,
                pieces=len(patches),
                **(ASKED | more),
            )
        )
    return patterns


def cube(edge):
    """Vertices, faces looking outwards, and the seven edges that open it to a cross."""
    corners = edge * np.array(
        [[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0], [0, 0, 1], [1, 0, 1], [1, 1, 1], [0, 1, 1]]
    )
    quads = [(0, 3, 2, 1), (4, 5, 6, 7), (0, 1, 5, 4), (1, 2, 6, 5), (2, 3, 7, 6), (3, 0, 4, 7)]
    faces = [[q[0], q[i], q[i + 1]] for q in quads for i in (1, 2)]
    upright = [(0, 4), (1, 5), (2, 6), (3, 7)]
    lid = [(4, 5), (5, 6), (6, 7)]  # the lid hangs on by the fourth
    return corners.astype(float), np.array(faces), np.array(upright + lid)


def frustum(r1, r2, height, count, *, rows=40):
    """A cone frustum of `count` facets, looking outwards, opened along one of them.

    Its triangles are fit to be draped as they are: a refined one would be right to 1e-4 only,
    since new edges may pass over the ridges between facets.
    """
    angle = 2 * np.pi * np.arange(count) / count
    ring = np.column_stack([np.cos(angle), np.sin(angle)])
    share = np.linspace(0, 1, rows + 1)
    rings = [
        np.column_stack([(r2 + t * (r1 - r2)) * ring, np.full(count, t * height)]) for t in share
    ]
    i = np.arange(count)
    j = (i + 1) % count
    faces = []
    for row in range(rows):
        a, b = row * count, (row + 1) * count
        faces += [np.column_stack([a + i, a + j, b + j]), np.column_stack([a + i, b + j, b + i])]
    seam = np.arange(rows)[:, None] * count + [0, count]
    return np.vstack(rings), np.concatenate(faces), seam


def gored_sphere(radius, count, *, rows=24, columns=8, top_deg=80.0):
    """A sphere between two latitudes, looking outwards, and the meridians that part it."""
    latitude = np.radians(np.linspace(-top_deg, top_deg, rows + 1))
    around = count * columns
    longitude = 2 * np.pi * (np.arange(around) + 0.5 * columns) / around
    a, b = np.meshgrid(latitude, longitude, indexing="ij")
    points = np.stack([np.cos(a) * np.cos(b), np.cos(a) * np.sin(b), np.sin(a)], axis=-1)
    faces, seams = [], []
    for row in range(rows):
        for k in range(around):
            p, q = row * around + k, row * around + (k + 1) % around
            faces += [[p, q, q + around], [p, q + around, p + around]]
            if k % columns == 0:
                seams.append([p, p + around])
    return radius * points.reshape(-1, 3), np.array(faces), np.array(seams)
