"""Is the stack balanced and symmetric, everywhere on the mould? Findings only.

Balanced: for every fibre at +a there is as much of the same fibre at -a. Symmetric: the stack
reads the same from both faces. Where it does not, the part may warp as it cures or cools, and
twist under load. Source: any textbook on laminates; CMH-17, from memory.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from ..arrays import Ints
from ..cloth.fabric import Fabric
from ..finding import Finding
from .code import CodePly, write_code
from .stack import Laid, Stack, fabric_of

DIGITS = 3  # angles closer than a thousandth of a degree are meant to be equal
WEIGHT_TOLERANCE = 1e-6  # of the areal weight, for sums in another order


def check_stack(stack: Stack, fabrics: Mapping[str, Fabric]) -> list[Finding]:
    """Return findings on balance and symmetry, with the faces each is true of.

    Plies that cover only part of the mould make local laminates; each is looked at by itself.
    """
    skewed, lopsided = [], []
    for faces, laid in local_stacks(stack, fabrics):
        if not is_balanced(laid, fabrics):
            skewed.append((faces, laid))
        if not is_symmetric(laid, fabrics):
            lopsided.append((faces, laid))
    found = []
    if skewed:
        found.append(
            _finding(
                "stack_not_balanced",
                "is not balanced",
                "Add a ply at the opposite angle, or accept that the part twists under load.",
                skewed,
                fabrics,
            )
        )
    if lopsided:
        found.append(
            _finding(
                "stack_not_symmetric",
                "does not read the same from both faces",
                "Lay it symmetric, or expect thin panels to warp after a warm cure.",
                lopsided,
                fabrics,
            )
        )
    return found


def local_stacks(
    stack: Stack, fabrics: Mapping[str, Fabric]
) -> Iterator[tuple[Ints, tuple[Laid, ...]]]:
    """Yield the faces on which the same plies lie, and those plies; films left out."""
    laid = [one for one in stack.laid if fabric_of(one.ply, fabrics).dry]
    if not laid:
        return
    designs = {one.ply.id: one.ply for one in laid}
    faces = np.unique(np.concatenate([ply.faces for ply in designs.values()]))
    covers = np.column_stack([np.isin(faces, ply.faces) for ply in designs.values()])
    kinds, of_face = np.unique(covers, axis=0, return_inverse=True)
    for number, kind in enumerate(kinds):
        here = {ply_id for ply_id, covered in zip(designs, kind, strict=True) if covered}
        yield faces[of_face.ravel() == number], tuple(one for one in laid if one.ply.id in here)


def is_balanced(laid: Sequence[Laid], fabrics: Mapping[str, Fabric]) -> bool:
    """Return whether every fibre at +a has as much of its kind at -a. Mat has no direction."""
    weight: dict[tuple[str, float], float] = defaultdict(float)
    for one in laid:
        fabric = fabric_of(one.ply, fabrics)
        angles = _angles(one, fabric)
        for angle in angles:
            weight[fabric.fibre or fabric.id, angle] += fabric.areal_weight_gsm / len(angles)
    return all(
        abs(grams - weight.get((fibre, _folded(-angle)), 0.0)) <= WEIGHT_TOLERANCE * grams
        for (fibre, angle), grams in weight.items()
    )


def is_symmetric(laid: Sequence[Laid], fabrics: Mapping[str, Fabric]) -> bool:
    """Return whether the stack reads the same from both faces.

    A stitched biaxial counts as its two layers: it is its own mirror image only turned over.
    """
    layers = [layer for one in laid for layer in _layers(one, fabric_of(one.ply, fabrics))]
    return layers == layers[::-1]


def code_of(laid: Sequence[Laid], fabrics: Mapping[str, Fabric]) -> str:
    """Return the laminate code of plies as laid; films and peel ply are not written.

    A stitched biaxial is not woven: its two layers are written one by one.
    """
    plies = []
    for one in laid:
        fabric = fabric_of(one.ply, fabrics)
        if not fabric.dry:
            continue
        if fabric.kind == "mat":
            plies.append(CodePly(angle_deg=None))
        elif fabric.kind == "weave":
            plies.append(CodePly(angle_deg=_folded(one.ply.angle_deg), woven=True))
        else:
            plies += [CodePly(angle_deg=angle) for angle in _angles(one, fabric)]
    return write_code(plies)


def widest_code(stack: Stack, fabrics: Mapping[str, Fabric]) -> str:
    """Return the laminate code where most plies lie; of several such places, the largest.

    Empty where nothing but film and peel ply is laid.
    """
    places = list(local_stacks(stack, fabrics))
    if not places:
        return ""
    return code_of(max(places, key=lambda place: (len(place[1]), len(place[0])))[1], fabrics)


def _layers(one: Laid, fabric: Fabric) -> list[tuple[str, tuple[float, ...]]]:
    angles = _angles(one, fabric)
    if fabric.kind == "biaxial":
        return [(fabric.id, (angle,)) for angle in angles]
    if fabric.balanced:  # warp and weft alike: 0 is 90, +45 is -45
        angles = tuple(sorted(angles))
    return [(fabric.id, angles)]


def _angles(one: Laid, fabric: Fabric) -> tuple[float, ...]:
    """Return the directions of the ply's fibres in (-90, 90], none for mat."""
    if fabric.kind == "mat":
        return ()
    return tuple(_folded(one.ply.angle_deg + angle) for angle in fabric.fibre_angles_deg)


def _folded(angle_deg: float) -> float:
    """Return the angle in (-90, 90]: a fibre has no head and no tail."""
    folded = 90 - (90 - angle_deg) % 180
    return round(folded, DIGITS) if round(folded, DIGITS) > -90 else 90.0


def _finding(
    code: str,
    verb: str,
    hint: str,
    where: list[tuple[Ints, tuple[Laid, ...]]],
    fabrics: Mapping[str, Fabric],
) -> Finding:
    faces = np.unique(np.concatenate([part for part, _ in where]))
    largest = max(where, key=lambda pair: len(pair[0]))[1]
    places = "" if len(where) == 1 else " (and other stacks beside it)"
    return Finding(
        code=code,
        severity="note",
        message=f"The stack {code_of(largest, fabrics)}{places} {verb}.",
        hint=hint,
        faces=tuple(faces.tolist()),
    )
