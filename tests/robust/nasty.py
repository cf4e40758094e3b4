"""Nasty moulds, each made from a small recipe of plain values, so that a failure can be kept.

Longer than most files: every kind of nasty mould, and the one function that draws from them.

A recipe is what `recipe` returns: everything random in it comes from its seed. `job_of` makes the
job; making it may itself end in an `InputError`, as reading a file would.
"""

from __future__ import annotations

import numpy as np

from flatten.cloth.library import load_fabrics
from flatten.job import Job, Settings
from flatten.laminate.ply import Ply
from flatten.nest.settings import NestSettings
from flatten.pattern.settings import Dressing
from flatten.surface.cut import Cut
from flatten.surface.mesh import MouldMesh
from flatten.surface.rosette import Rosette

LIBRARY = load_fabrics()
CLOTHS = tuple(sorted(LIBRARY))
SCALES_MM = (1e-9, 1e-3, 0.5, 20.0, *[60.0, 150.0] * 8, 2e3, 1e6, 1e12)


# --- bases: (vertices, faces), about one unit across


def sheet(cells, rng, height):
    """A square sheet of 2 cells^2 triangles over which `height` (x, y) stands."""
    side = np.linspace(-0.5, 0.5, cells + 1)
    x, y = (a.ravel() for a in np.meshgrid(side, side))
    n = cells + 1
    corner = (np.arange(cells)[:, None] * n + np.arange(cells)).ravel()
    quads = np.column_stack([corner, corner + 1, corner + 1 + n, corner + n])
    faces = np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])
    return np.column_stack([x, y, height(x, y, rng)]), faces


def plate(cells, rng):
    return sheet(cells, rng, lambda x, y, rng: 0 * x)


def dish(cells, rng):
    deep = rng.uniform(0.02, 0.6)
    return sheet(cells, rng, lambda x, y, rng: -deep * np.clip(1 - 4 * (x * x + y * y), 0, None))


def rough(cells, rng):
    return sheet(cells, rng, lambda x, y, rng: rng.normal(0, 0.05, len(x)))


def step(cells, rng):
    return sheet(cells, rng, lambda x, y, rng: 0.3 * (x > 0.1) + 0.1 * (y > 0))


def saddle(cells, rng):
    return sheet(cells, rng, lambda x, y, rng: x * x - y * y)


def tube(cells, rng):
    """Closed round, open at both ends: opens flat only when cut."""
    around = max(cells, 3)
    turn = 2 * np.pi * np.arange(around) / around
    ring = np.column_stack([np.cos(turn), np.sin(turn)]) / 2
    vertices = np.concatenate(
        [np.column_stack([ring, np.full(around, z)]) for z in np.linspace(-0.5, 0.5, 3)]
    )
    i, after = np.arange(around), (np.arange(around) + 1) % around
    one = np.column_stack([i, after, after + around])
    two = np.column_stack([i, after + around, i + around])
    band = np.concatenate([one, two])
    return vertices, np.concatenate([band, band + around])


def box(cells, rng):
    corner = np.array([[x, y, z] for x in (0, 1) for y in (0, 1) for z in (0, 1)], float) - 0.5
    quads = [[0, 1, 3, 2], [4, 6, 7, 5], [0, 4, 5, 1], [2, 3, 7, 6], [0, 2, 6, 4], [1, 5, 7, 3]]
    return corner, np.array([t for a, b, c, d in quads for t in ([a, b, c], [a, c, d])])


def moebius(cells, rng):
    """A band with one side: no winding makes it a mould."""
    around = max(cells, 3) * 2
    turn = 2 * np.pi * np.arange(around) / around
    rows = []
    for side in (-0.15, 0.15):
        out = 0.35 + side * np.cos(turn / 2)
        rows.append(
            np.column_stack([out * np.cos(turn), out * np.sin(turn), side * np.sin(turn / 2)])
        )
    low = np.arange(around)
    high = low + around
    after_low, after_high = np.roll(low, -1), np.roll(high, -1)
    after_low[-1], after_high[-1] = high[0], low[0]
    one = np.column_stack([low, after_low, after_high])
    return np.concatenate(rows), np.concatenate([one, np.column_stack([low, after_high, high])])


def torus(cells, rng):
    """A ring: closed, with a tunnel."""
    n = max(cells, 4)
    a, b = (x.ravel() for x in np.meshgrid(*[2 * np.pi * np.arange(n) / n] * 2, indexing="ij"))
    out = 0.35 + 0.12 * np.cos(b)
    vertices = np.column_stack([out * np.cos(a), out * np.sin(a), 0.12 * np.sin(b)])
    i, j = (x.ravel() for x in np.meshgrid(np.arange(n), np.arange(n), indexing="ij"))
    p, q, r, s = (
        i * n + j, (i + 1) % n * n + j, (i + 1) % n * n + (j + 1) % n, i * n + (j + 1) % n,
    )  # fmt: skip
    return vertices, np.concatenate([np.column_stack([p, q, r]), np.column_stack([p, r, s])])


def soup(cells, rng):
    """Triangles thrown at random, sharing vertices at random."""
    count = int(rng.integers(3, 3 * cells + 4))
    return rng.uniform(-0.5, 0.5, (count, 3)), rng.integers(0, count, (2 * cells, 3))


def lone(cells, rng):
    return np.array([[0, 0, 0], [1, 0, 0], [0.3, 0.7, 0]], float), np.array([[0, 1, 2]])


def nothing(cells, rng):
    return np.zeros((0, 3)), np.zeros((0, 3), np.int64)


BASES = {
    one.__name__: one
    for one in (
        plate, dish, rough, step, saddle, tube, box, moebius, torus, soup, lone, nothing,
    )
}  # fmt: skip


# --- faults: (vertices, faces, rng) -> (vertices, faces)


def _some(count, rng, share=0.2):
    """A few of `count` numbers, none twice; at least one where there is one."""
    return rng.permutation(count)[: max(1, int(share * count * rng.random()))] if count else []


def sliver(vertices, faces, rng):
    """Split faces right beside a corner: needles down to an aspect of 1e-6 and flatter."""
    for face in _some(len(faces), rng, 0.1):
        a, b, c = faces[face]
        share = 10 ** rng.uniform(-9, -3)
        new = len(vertices)
        vertices = np.vstack([vertices, (1 - share) * vertices[a] + share * vertices[b]])
        faces = np.vstack([faces, [new, b, c]])
        faces[face] = [a, new, c]
    return vertices, faces


def doubles(vertices, faces, rng):
    """Part faces from their neighbours: their corners are vertices of their own."""
    faces = faces.copy()
    for face in _some(len(faces), rng):
        corner = int(rng.integers(3))
        offset = rng.normal(0, 10 ** rng.uniform(-12, -4), 3) * rng.integers(2)
        vertices = np.vstack([vertices, vertices[faces[face, corner]] + offset])
        faces[face, corner] = len(vertices) - 1
    return vertices, faces


def flipped(vertices, faces, rng):
    faces = faces.copy()
    some = _some(len(faces), rng)
    faces[some] = faces[some][:, ::-1] if len(some) else faces[some]
    return vertices, faces


def turned_inside_out(vertices, faces, rng):
    return vertices, faces[:, ::-1].copy()


def duplicate_faces(vertices, faces, rng):
    some = _some(len(faces), rng)
    return vertices, np.vstack([faces, faces[some]]) if len(some) else faces


def three_on_an_edge(vertices, faces, rng):
    """A fin on an edge."""
    if not len(faces):
        return vertices, faces
    a, b = faces[rng.integers(len(faces)), :2]
    top = vertices[[a, b]].mean(axis=0) + rng.normal(0, 0.2, 3)
    return np.vstack([vertices, top]), np.vstack([faces, [a, b, len(vertices)]])


def t_junction(vertices, faces, rng):
    """Split a face at the middle of an edge, its neighbour not."""
    for face in _some(len(faces), rng, 0.1):
        a, b, c = faces[face]
        new = len(vertices)
        vertices = np.vstack([vertices, vertices[[a, b]].mean(axis=0)])
        faces = np.vstack([faces, [new, b, c]])
        faces[face] = [a, new, c]
    return vertices, faces


def crossing(vertices, faces, rng):
    """A second sheet runs through the first, not joined to it."""
    more, its = plate(3, rng)
    more = more[:, [0, 2, 1]] + rng.normal(0, 0.1, 3)
    return np.vstack([vertices, more]), np.vstack([faces, its + len(vertices)])


def island(vertices, faces, rng):
    more, its = lone(1, rng)
    return np.vstack([vertices, more * 0.2 + 2]), np.vstack([faces, its + len(vertices)])


def holes(vertices, faces, rng):
    keep = np.ones(len(faces), bool)
    keep[_some(len(faces), rng, 0.4)] = False
    return vertices, faces[keep]


def bridge(vertices, faces, rng):
    """Two faces between far edges: a tunnel, as a handle."""
    if len(faces) < 2:
        return vertices, faces
    (a, b, _), (c, d, _) = faces[rng.permutation(len(faces))[:2]]
    return vertices, np.vstack([faces, [b, a, c], [c, d, b]])


def pinched(vertices, faces, rng):
    """Two vertices become one."""
    faces = faces.copy()
    if len(vertices) > 1:
        one, other = rng.permutation(len(vertices))[:2]
        faces[faces == one] = other
    return vertices, faces


def flat_nothing(vertices, faces, rng):
    """Faces without area: a corner twice, or three on a line."""
    if not len(faces):
        return vertices, faces
    a, b, _ = faces[rng.integers(len(faces))]
    vertices = np.vstack([vertices, vertices[[a, b]].mean(axis=0)])
    return vertices, np.vstack([faces, [a, b, b], [a, len(vertices) - 1, b]])


def spike(vertices, faces, rng):
    """One vertex far away."""
    vertices = vertices.copy()
    if len(vertices):
        vertices[rng.integers(len(vertices)), 2] += 10 ** rng.uniform(0, 6)
    return vertices, faces


def noise(vertices, faces, rng):
    return vertices + rng.normal(0, 10 ** rng.uniform(-9, -1.5), vertices.shape), faces


def thin(vertices, faces, rng):
    """Squashed along one axis, to nothing at the worst."""
    axis, share = rng.integers(3), 10 ** rng.uniform(-7, 0) * (rng.random() > 0.1)
    return vertices * np.where(np.arange(3) == axis, share, 1), faces


def folded(vertices, faces, rng):
    """Bent over itself: normals of one region look all ways."""
    bent = np.abs(vertices[:, 0])
    return np.column_stack([bent, vertices[:, 1], vertices[:, 2] + 0.01 * vertices[:, 0]]), faces


def shuffled(vertices, faces, rng):
    order = rng.permutation(len(vertices))
    place = np.argsort(order)
    faces = place[faces][rng.permutation(len(faces))] if len(faces) else faces
    return vertices[order], faces


def far_off(vertices, faces, rng):
    return vertices + rng.normal(0, 1, 3) * 10 ** rng.uniform(0, 7), faces


def not_a_number(vertices, faces, rng):
    vertices = vertices.copy()
    if len(vertices):
        where = rng.integers(len(vertices)), rng.integers(3)
        vertices[where] = rng.choice([np.nan, np.inf, -np.inf, 1e308, -1e200])
    return vertices, faces


def wrong_index(vertices, faces, rng):
    faces = faces.copy()
    if len(faces):
        faces[rng.integers(len(faces)), rng.integers(3)] = rng.choice([-1, len(vertices), 2**40])
    return vertices, faces


def loose_vertices(vertices, faces, rng):
    return np.vstack([vertices, rng.normal(0, 100, (3, 3))]), faces


FAULTS = {
    one.__name__: one
    for one in (
        sliver, doubles, flipped, turned_inside_out, duplicate_faces, three_on_an_edge, t_junction,
        crossing, island, holes, bridge, pinched, flat_nothing, spike, noise, thin, folded,
        shuffled, far_off, not_a_number, wrong_index, loose_vertices,
    )
}  # fmt: skip
LAST = {"wrong_index", "not_a_number"}  # the other faults could not be made after them
REGIONS = ("all", "all", "half", "some", "one", "grown", "doubled")
CUTS = ("none", "none", "none", "splice", "dart", "wild", "seams")


def recipe(rng, *, most_cells=6):
    """Return a random recipe of plain values."""
    faults = rng.choice(list(FAULTS), rng.choice([0, 0, 0, 1, 1, 1, 2, 3]), replace=False)
    return {
        "seed": int(rng.integers(2**32)),
        "base": str(rng.choice(list(BASES)[: len(BASES) - (rng.random() < 0.9)])),
        "cells": int(rng.integers(1, most_cells + 1)),
        "faults": [str(fault) for fault in faults],
        "scale_mm": float(rng.choice(SCALES_MM)),
        "region": str(rng.choice(REGIONS)),
        "edge_share": rng.choice([0.1, 0.2, 0.5, None], p=[0.3, 0.3, 0.3, 0.1]),
        "plies": int(rng.choice([1, 1, 1, 2, 3])),
        "cloth": str(rng.choice(CLOTHS)),
        "angle_deg": float(rng.choice([0, 45, 90, -30, rng.uniform(-360, 360)])),
        "tack": str(rng.choice(["none", "none", "vertex", "near", "far"])),
        "cut": str(rng.choice(CUTS)),
    }


def mesh_of(recipe):
    """Return the mould, or raise InputError as reading it from a file would."""
    rng = np.random.default_rng(recipe["seed"])
    vertices, faces = BASES[recipe["base"]](recipe["cells"], rng)
    for fault in sorted(recipe["faults"], key=LAST.__contains__):
        vertices, faces = FAULTS[fault](vertices, faces, rng)
    with np.errstate(all="ignore"):
        vertices = vertices * recipe["scale_mm"]
    return MouldMesh(vertices, faces)


def job_of(recipe, mould=None):
    """Return the recipe's job."""
    mould = mesh_of(recipe) if mould is None else mould
    rng = np.random.default_rng(recipe["seed"] + 1)
    cloth = LIBRARY[recipe["cloth"]]
    faces = _region(recipe["region"], mould, rng)
    plies = tuple(
        Ply(
            id=f"p{number}",
            name=f"ply {number}",
            faces=faces,
            fabric=cloth.id,
            angle_deg=recipe["angle_deg"],
            tack_mm=_tack(recipe["tack"], mould, faces, rng),
            cuts=_cuts(recipe["cut"], mould, faces, rng),
            repeat=1 + int(rng.random() < 0.1),
            method="worked_out" if rng.random() < 0.8 else "least_shear",
            trim_mm=None if rng.random() < 0.5 else float(rng.choice([0, 0, 0, 1, 40, 200])),
        )
        for number in range(1, recipe["plies"] + 1)
    )
    edges = mould.edges.vertices
    seams = edges[rng.random(len(edges)) < 0.1] if recipe["cut"] == "seams" else edges[:0]
    return Job(
        part="Nasty",
        mould=mould,
        plies=plies,
        rosette=Rosette([0, 0, 0], [1, 0, 0], [0, 0, 1]),
        fabrics=(cloth,),
        settings=Settings(
            nest=NestSettings(seconds=0.0),
            dressing=Dressing(trim_on_mould=bool(rng.random() < 0.4)),
            edge_mm=_edge(recipe["edge_share"], mould),
        ),
        seams=seams,
    )


def _edge(share, mould):
    """Most triangles are left large: it is the faults that are looked at, not the cloth."""
    size = float(np.ptp(mould.vertices, axis=0).max()) if len(mould.vertices) else 0.0
    return None if share is None else float(np.clip(share * size, 0.05, 1e4))


def _region(kind, mould, rng):
    count = len(mould.faces)
    if kind == "half":
        return np.arange(count // 2)
    if kind == "some":
        return np.flatnonzero(rng.random(count) < 0.7)
    if kind == "one":
        return rng.integers(0, count, min(count, 1))
    if kind == "doubled":
        return np.concatenate([np.arange(count)] * 2)
    if kind == "grown":  # a face, and the faces round it, twice
        taken = np.zeros(count, bool)
        taken[: min(count, 1)] = True
        for _ in range(2):
            touched = np.unique(mould.faces[taken])
            taken |= np.isin(mould.faces, touched).any(axis=1)
        return np.flatnonzero(taken)
    return np.arange(count)


def _tack(kind, mould, faces, rng):
    if kind == "none" or not len(mould.vertices) or not len(faces):
        return None
    corner = mould.vertices[mould.faces[faces[0], 0]]
    with np.errstate(all="ignore"):
        return {"vertex": corner, "near": corner + rng.normal(0, 5, 3), "far": corner + 1e5}[kind]


def _cuts(kind, mould, faces, rng):
    if kind in ("none", "seams") or len(faces) < 2:
        return ()
    middles = mould.corners[faces].mean(axis=1)
    if kind == "wild":
        path = middles[rng.integers(0, len(middles), 4)]
        kind = "splice"
    else:
        first, last = rng.integers(0, len(middles), 2)
        path = np.linspace(middles[first], middles[last], 3)
    lap_mm = float(rng.choice([0, 5, 25, 400]))
    style = {"joint": str(rng.choice(["lap", "butt"])), "lap_mm": lap_mm}
    return (Cut(id="c1", kind=kind, path=path, **style),)
