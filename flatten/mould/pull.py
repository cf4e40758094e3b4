"""The pull that frees most of the lay-up."""

from __future__ import annotations

import numpy as np

from ..arrays import Floats, Ints
from ..surface.mesh import MouldMesh
from .draft import Draft, measure_draft

TRIED = 1500  # directions over the sphere, about 6 degrees apart
STEPS = 20  # normals are sorted into cells of 1 / 20: 3 degrees
AS_GOOD = 0.005  # a pull along an axis of the file is taken when it frees as much, within this
SHORTLIST = 4  # pulls looked at with rays before the best is taken
MORE, LARGE = 8, 300_000  # as many again where something stands over the lay-up; size of mesh
GLANCE = 3000  # faces, and as many points, looked at while pulls are compared
ENOUGH = 1e-3  # less trapped area than this share is let go


def find_pull(
    mesh: MouldMesh,
    faces: Ints,
    min_draft_deg: float,
    *,
    ray_test: bool = True,
    blockers: Ints | None = None,
) -> Draft:
    """Return the draft along the direction that frees most area of `faces` (k,).

    A face counts in full from `min_draft_deg` on, less below, and against the pull when it
    looks away. Where faces may be trapped the best few directions are compared by rays.
    """
    normals, weight = sorted_normals(mesh, faces)
    tried = np.concatenate([axes(), sphere(TRIED), _mean_normal(normals, weight)])
    score = _score(normals, weight, tried, min_draft_deg)
    some, weights = _sample(mesh, faces)
    best, most = axes()[0], -np.inf
    blocked = 0.0

    def look(pulls: list[tuple[Floats, float]]) -> None:
        nonlocal best, most, blocked
        for pull, promise in pulls:
            if promise > most:
                draft = measure_draft(
                    mesh, some, pull, ray_test=ray_test, blockers=blockers, points=GLANCE
                )
                trapped = float(weights @ np.where(draft.undercut, 0, draft.trapped))
                if promise - trapped > most:
                    best, most, blocked = pull, promise - trapped, trapped

    look(_shortlist(normals, weight, tried, score, min_draft_deg))
    if blocked > ENOUGH:
        # Something stands in the way: other pulls that look as free may pass beside it.
        count = MORE if len(mesh.faces) < LARGE else MORE // 4
        look(_spread_out(tried[score > most], best, normals, weight, min_draft_deg, count))
    return measure_draft(mesh, faces, best, ray_test=ray_test, blockers=blockers)


def say_direction(direction: Floats) -> str:
    """Return "+z" for a direction (3,), "half-way from +x to -y", else the three numbers."""
    size = np.abs(direction)
    named = [
        f"{'+' if value > 0 else '-'}{name}" for value, name in zip(direction, "xyz", strict=True)
    ]
    first, second, third = (int(axis) for axis in np.argsort(-size, kind="stable"))
    if size[first] > 1 - 1e-6:
        return named[first]
    if size[first] - size[second] < 1e-6 and size[third] < 1e-6:
        return f"half-way from {named[first]} to {named[second]}"
    return "(" + ", ".join(f"{value + 0.0:.2f}" for value in direction) + ")"


def sorted_normals(mesh: MouldMesh, faces: Ints) -> tuple[Floats, Floats]:
    """Return normals gathered into cells (b, 3) and the share of area in each (b,)."""
    normals, areas = mesh.normals[faces], mesh.areas[faces]
    cell = np.rint(normals * STEPS).astype(np.int64) + STEPS
    key = (cell[:, 0] * 64 + cell[:, 1]) * 64 + cell[:, 2]
    number = np.unique(key, return_inverse=True)[1].ravel()
    total = max(float(areas.sum()), 1e-300)
    sums = np.column_stack([np.bincount(number, areas * normals[:, axis]) for axis in range(3)])
    length = np.linalg.norm(sums, axis=1, keepdims=True)
    weight: Floats = np.bincount(number, areas) / total
    return sums / np.where(length > 0, length, 1), weight


def _score(normals: Floats, weight: Floats, tried: Floats, min_draft_deg: float) -> Floats:
    """(t,) area share freed: 1 from the draft asked for, falling below it, negative away."""
    enough = np.sin(np.radians(max(min_draft_deg, 0.5)))
    score: Floats = weight @ np.clip(normals @ tried.T / enough, -1, 1)
    return score


def _shortlist(
    normals: Floats, weight: Floats, tried: Floats, score: Floats, min_draft_deg: float
) -> list[tuple[Floats, float]]:
    """The best directions, well apart, the middle of each plateau; axes first when as good."""
    chosen: list[tuple[Floats, float]] = []
    left = score.copy()
    while len(chosen) < SHORTLIST and np.isfinite(left).any():
        top = left.max()
        peak = tried[int(left.argmax())]
        near = tried @ peak > np.cos(np.radians(40))
        axis = np.flatnonzero((left[:6] >= top - AS_GOOD) & near[:6])
        if len(axis):
            pull = tried[axis[int((tried[axis] @ (weight @ normals)).argmax())]]
        else:
            plateau = tried[near & (left >= top - AS_GOOD)]
            middle = plateau.sum(axis=0) / np.linalg.norm(plateau.sum(axis=0))
            good = _score(normals, weight, middle[None], min_draft_deg)[0] >= top - AS_GOOD
            pull = middle if good else peak
        chosen.append((pull, float(_score(normals, weight, pull[None], min_draft_deg)[0])))
        left[near] = -np.inf
    return sorted(chosen, key=lambda pair: -pair[1])


def _sample(mesh: MouldMesh, faces: Ints) -> tuple[Ints, Floats]:
    """Faces met by even steps through the area, and the share of it each stands for."""
    total = np.cumsum(mesh.areas[faces])
    steps = (np.arange(GLANCE) + 0.5) / GLANCE * total[-1] if len(faces) else np.zeros(0)
    met = np.searchsorted(total, steps).clip(max=max(len(faces) - 1, 0))
    number, count = np.unique(met, return_counts=True)
    return faces[number], count / max(len(steps), 1)


def _spread_out(
    able: Floats, start: Floats, normals: Floats, weight: Floats, min_draft_deg: float, count: int
) -> list[tuple[Floats, float]]:
    """Up to `count` of the directions, each as far as can be from `start` and those before."""
    chosen: list[tuple[Floats, float]] = []
    nearest = able @ start
    while len(chosen) < count and len(able) and nearest.min() < np.cos(np.radians(5)):
        pull = able[int(nearest.argmin())]
        chosen.append((pull, float(_score(normals, weight, pull[None], min_draft_deg)[0])))
        nearest = np.maximum(nearest, able @ pull)
    return chosen


def axes() -> Floats:
    """Return (6, 3) the axes of the file, upwards first."""
    return np.concatenate([np.eye(3)[[2, 0, 1]], -np.eye(3)[[2, 0, 1]]])


def sphere(count: int) -> Floats:
    """Return (count, 3) directions spread evenly: a spiral with the golden angle."""
    turn = np.arange(count) * np.pi * (3 - np.sqrt(5))
    z = 1 - (2 * np.arange(count) + 1) / count
    r = np.sqrt(1 - z * z)
    return np.column_stack([r * np.cos(turn), r * np.sin(turn), z])


def _mean_normal(normals: Floats, weight: Floats) -> Floats:
    mean = weight @ normals
    length = np.linalg.norm(mean)
    return mean[None] / length if length > 1e-9 else np.zeros((0, 3))
