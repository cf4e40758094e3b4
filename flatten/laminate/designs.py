"""Ply designs made from others: from a laminate code, and for the mirrored part."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from numpy.typing import ArrayLike

from ..arrays import Floats, frozen_floats, unit_vector
from ..errors import InputError
from ..surface.cut import Cut
from ..surface.rosette import Rosette
from .code import read_code
from .ply import Ply


def plies_from_code(
    code: str,
    *,
    faces: ArrayLike,
    woven: str | None = None,
    tape: str | None = None,
    mat: str | None = None,
) -> tuple[Ply, ...]:
    """Return one ply for each of the code's, in laying order, all on `faces`.

    `woven`, `tape` and `mat` are the ids of the cloths that plies marked f, plain plies and
    plies marked M are made of.

    Raises
    ------
    InputError : not a laminate code, or a cloth is missing for one of its plies
    """
    plies = []
    for number, one in enumerate(read_code(code), start=1):
        kind = "M" if one.angle_deg is None else "f" if one.woven else "plain"
        fabric = {"M": mat, "f": woven, "plain": tape}[kind]
        if not fabric:
            raise InputError(
                f"Laminate code '{code[:60]}': ply {number} is marked {kind}, but no cloth is "
                "chosen for such plies.",
                "Choose a cloth for them.",
            )
        angle = one.angle_deg or 0.0
        name = f"{angle:g}°" if one.angle_deg is not None else "mat"
        plies.append(
            Ply(id=f"p{number}", name=name, faces=faces, fabric=fabric, angle_deg=angle)  # type: ignore[arg-type]
        )
    return tuple(plies)


def mirrored_plies(plies: Sequence[Ply], *, at_mm: ArrayLike, normal: ArrayLike) -> tuple[Ply, ...]:
    """Return the plies of the mirrored part: mirrored in the plane through `at_mm` (3,) mm.

    The mirrored mould must keep the numbers of its faces (its winding turned round). Angles
    change sign: seen from the lay-up side a mirror image turns the other way. A cut's lap that
    ran under on its left runs under on its right. A ply without a rosette of its own follows the
    job's, which the caller mirrors with `mirrored_rosette`.

    A cloth that is not its own mirror image (a stitched biaxial, an unbalanced satin) has to be
    laid other side up, or the job needs its mirrored twin.
    """
    plane = _Plane(at_mm, normal)
    return tuple(
        replace(
            ply,
            angle_deg=-ply.angle_deg,
            tack_mm=None if ply.tack_mm is None else plane.mirror(ply.tack_mm),
            cuts=tuple(_mirrored_cut(cut, plane) for cut in ply.cuts),
            rosette=ply.rosette and mirrored_rosette(ply.rosette, at_mm=at_mm, normal=normal),
        )
        for ply in plies
    )


def mirrored_rosette(rosette: Rosette, *, at_mm: ArrayLike, normal: ArrayLike) -> Rosette:
    """Return the rosette of the mirrored part; its normal still points to the lay-up side."""
    plane = _Plane(at_mm, normal)
    return Rosette(
        plane.mirror(rosette.origin), plane.turn(rosette.zero), plane.turn(rosette.normal)
    )


def _mirrored_cut(cut: Cut, plane: _Plane) -> Cut:
    return replace(
        cut, path=plane.mirror(cut.path), under="right" if cut.under == "left" else "left"
    )


class _Plane:
    """The plane of a mirror."""

    def __init__(self, at_mm: ArrayLike, normal: ArrayLike) -> None:
        self.at = frozen_floats("point on the mirror plane", at_mm, (3,))
        self.normal = unit_vector("normal of the mirror plane", normal)

    def mirror(self, points: Floats) -> Floats:
        """Return points (3,) or (k, 3), mirrored."""
        return self.at + self.turn(points - self.at)

    def turn(self, vectors: Floats) -> Floats:
        """Return vectors (3,) or (k, 3), mirrored."""
        along: Floats = vectors @ self.normal
        return vectors - 2 * along[..., None] * self.normal
