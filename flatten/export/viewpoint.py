"""From where the mould is looked at in pictures: the side that shows most of the lay-up."""

from __future__ import annotations

import numpy as np

from ..arrays import Floats, Ints
from .layup_facts import MouldPicture
from .render import render, view_from, visible

GLANCE = (160, 120)  # pixels of the look that decides
MUCH_MORE = 1.5  # of the lay-up must be seen from behind before the picture is turned round
SLACK = 0.004  # of the mould's size: how far a point may dip behind its own surface


def viewpoint(mould: MouldPicture) -> Floats:
    """Return the axes (3, 3) of the picture: from the lay-up side, or from behind where the cloth
    would not be seen, as in a deep mould whose walls say little about its open side.
    """
    front, back = (view_from(mould.zero, way * mould.normal) for way in (1.0, -1.0))
    if not mould.regions:
        return front
    faces = np.unique(np.concatenate([region.faces for region in mould.regions]))
    seen = [_area_seen(mould, faces, axes) for axes in (front, back)]
    return back if seen[1] > MUCH_MORE * seen[0] else front


def _area_seen(mould: MouldPicture, faces: Ints, axes: Floats) -> float:
    """Return mm2 of the faces as they show in the picture: what faces the eye and is not hidden."""
    grey = np.full((len(mould.faces), 3), 0.5)
    picture = render(mould.vertices, mould.faces, grey, axes, *GLANCE)
    corners = mould.vertices[mould.faces[faces]]
    double = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    towards = np.maximum(double @ axes[2], 0.0) / 2
    size = float(np.ptp(mould.vertices))
    pixel = size / min(GLANCE)  # a slope dips by this much from pixel to pixel
    hidden = ~visible(picture, corners.mean(axis=1), SLACK * size + pixel)
    return float(towards[~hidden].sum())
