"""Thickness of cured plies, each alone and all together over the mould.

t = n m_A / (rho_f Vf): the fibre's solid thickness over its share of the volume. Source: ASTM
D3171, Test Method II, which assumes no voids; with voids, t / (1 - Vv).
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from ..arrays import Floats, Ints, frozen_floats, frozen_ints
from ..cloth.fabric import Fabric
from ..errors import InputError
from .fractions import fibre_volume_fraction
from .settings import LaminateSettings

MOST_SHEAR_RAD = math.radians(85.0)  # beyond it cloth is a rope: 1 / cos would run away
LOCKED_RAD = math.radians(60.0)  # no cloth locks later; what is drawn in further lies in folds


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Course:
    """One ply as laid: `faces` (k,) of the mould it covers, each once; `thickness_mm` before
    shear; `shear_rad` (k,) of its cloth there, either sign, None: none.
    """

    number: int  # in laying order, 1: first on the tool
    ply_id: str
    faces: Ints
    thickness_mm: float
    shear_rad: Floats | None = None

    def __post_init__(self) -> None:
        """Refuse shear that does not fit the faces."""
        faces = frozen_ints(f"faces of ply {self.number}", self.faces, (None,))
        if len(np.unique(faces)) != len(faces):
            raise InputError(
                f"Ply {self.number}: a face is named twice in its course.", "Name each face once."
            )
        object.__setattr__(self, "faces", faces)
        if self.shear_rad is not None:
            shear = frozen_floats(f"shear of ply {self.number}", self.shear_rad, (len(faces),))
            object.__setattr__(self, "shear_rad", shear)


def cured_thickness_mm(fabric: Fabric, settings: LaminateSettings, *, count: int = 1) -> float:
    """Return the thickness of `count` plies after cure, unsheared; 0 for films and peel ply."""
    if not fabric.dry:
        return 0.0
    solid_mm = fabric.areal_weight_gsm / (1000 * fabric.fibre_density_g_cm3)
    share = fibre_volume_fraction(fabric, settings) * (1 - settings.void_fraction)
    return count * solid_mm / share


def inverse_cosine(shear_rad: Floats) -> Floats:
    """Return by what sheared cloth is thicker and heavier, 1 / cos(shear), held at 85 degrees."""
    factor: Floats = 1 / np.cos(np.minimum(np.abs(shear_rad), MOST_SHEAR_RAD))
    return factor


def thickening(shear_rad: Floats) -> Floats:
    """Return by what factor (m,) cloth sheared so far is thicker in one layer: held at 60 deg."""
    return inverse_cosine(np.minimum(np.abs(shear_rad), LOCKED_RAD))


def thickness_range_mm(laminate_mm: Floats) -> tuple[float, float]:
    """Return the least and the largest mm of a map (m,) of faces, bare ones left out."""
    covered = laminate_mm[laminate_mm > 0]
    return (float(covered.min()), float(covered.max())) if len(covered) else (0.0, 0.0)


def thickness_map(courses: Iterable[Course], face_count: int) -> Floats:
    """Return the laminate's thickness (face_count,) mm on every face of the mould.

    Raises
    ------
    InputError : a course names a face the mould has not
    """
    total = np.zeros(face_count)
    for course in courses:
        if len(course.faces) and not 0 <= course.faces.min() <= course.faces.max() < face_count:
            raise InputError(
                f"Ply {course.number} covers face {int(course.faces.max())}, but the mould has "
                f"{face_count} faces.",
                "Assign the ply's faces again.",
            )
        thicker = 1.0 if course.shear_rad is None else thickening(course.shear_rad)
        total[course.faces] += course.thickness_mm * thicker
    return total
