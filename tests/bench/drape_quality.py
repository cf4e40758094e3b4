"""How exact and how reproducible the drape is, as JSON lines.

Run: python tests/bench/drape_quality.py [caps] [trays] [random [COUNT]] [moulds FOLDER]
"""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path

import numpy as np

sys.path[:0] = [str(Path(__file__).parents[2]), str(Path(__file__).parents[1])]

import shapely  # noqa: E402
from cloth.starts import laid_again  # noqa: E402
from nets import SphereNet, sphere_angle  # noqa: E402
from shapes import irregular_cap, random_sheet, tray  # noqa: E402

from flatten.cloth.drape import Drape, drape_surface  # noqa: E402
from flatten.cloth.library import load_fabrics  # noqa: E402
from flatten.cloth.strain import locked_flat_area_fraction  # noqa: E402
from flatten.surface.mesh import SurfaceMesh, components  # noqa: E402
from flatten.surface.refine import refine  # noqa: E402

TWILL = load_fabrics()["carbon_twill_210"]
ANY = 1000.0


def caps() -> None:
    """R 150, worst of 8 tack placements and headings, over settled triangles."""
    net = SphereNet(2.3, 500)
    for half_angle in (45, 60, 75):
        for triangles in (8000, 32000):
            rng = np.random.default_rng(5)
            rows = [_cap(net, half_angle, triangles, rng, seed) for seed in range(8)]
            show(
                part=f"{half_angle}-degree cap",
                triangles=triangles,
                outline_max_mm=max(row[0] for row in rows),
                outline_median_mm=float(np.median([row[0] for row in rows])),
                shear_rms_deg=max(row[1] for row in rows),
                settled_least=min(row[2] for row in rows),
            )


def _cap(net: SphereNet, half_angle: float, triangles: int, rng, seed: int) -> tuple:
    mesh = irregular_cap(150, half_angle, triangles, seed)
    off, round_, heading = rng.uniform(0, 0.4) * np.radians(half_angle), *rng.uniform(0, 6.28, 2)
    tack = np.array([np.sin(off) * np.cos(round_), np.sin(off) * np.sin(round_), np.cos(off)])
    warp = np.array([np.cos(heading), np.sin(heading), 0])
    drape = drape_surface(mesh, TWILL, tack_mm=150 * tack, warp=warp, max_edge_mm=ANY)
    along = warp - tack * (tack @ warp)
    along /= np.linalg.norm(along)
    frame = np.array([along, np.cross(tack, along), tack])
    exact = 150 * net.flat(mesh.vertices @ frame.T / 150, drape.flat / 150)
    middles = exact[mesh.faces].mean(axis=1) / 150
    error = drape.strain[:, 2] - (np.pi / 2 - sphere_angle(middles.prod(axis=1)))
    settled = np.zeros(len(mesh.vertices), bool)
    settled[mesh.faces[drape.settled]] = True
    rim = np.unique(mesh.edges.vertices[mesh.edges.boundary])
    off_mm = np.linalg.norm(drape.flat - exact, axis=1)[rim[settled[rim]]].max()
    rms = np.degrees(np.sqrt((error[drape.settled] ** 2).mean()))
    return float(off_mm), float(rms), float(drape.settled.mean())


def trays() -> None:
    """Depths, drafts, fillets, flange; warp at 0, 30, 45 degrees; 8k against 32k triangles."""
    shapes = {
        "30/10 r4": {"depth": 30, "draft_deg": 10, "fillet": 4},
        "50/5 r8": {"depth": 50, "draft_deg": 5, "fillet": 8},
        "50/5 r8 flange": {"depth": 50, "draft_deg": 5, "fillet": 8, "flange": 20},
        "80/2 r15": {"depth": 80, "draft_deg": 2, "fillet": 15},
    }
    for name, kind in shapes.items():
        for angle in (0, 30, 45):
            way = (np.cos(np.radians(angle)), np.sin(np.radians(angle)), 0)
            two = []
            for edge in (4.6, 2.3):
                mesh = tray(edge=edge, **kind)
                drape = drape_surface(mesh, TWILL, tack_mm=(0.3, 0.2, 0), warp=way, max_edge_mm=ANY)
                two.append(drape)
            show(
                part=name,
                warp_deg=angle,
                triangles=[len(d.surface.faces) for d in two],
                steps=[d.iterations for d in two],
                converged=[d.converged for d in two],
                locks=[d.locks for d in two],
                outline_between_mm=outline_distance(two[0], two[1]),
                locked=[locked_flat_area_fraction(d, TWILL) for d in two],
            )


def outline_distance(one: Drape, other: Drape) -> float:
    """Largest distance of one outline's vertices from the other outline, mm."""
    loops = [
        max(d.fine.surface.edges.boundary_loops(d.fine.surface.faces), key=len)
        for d in (one, other)
    ]
    ring = shapely.LinearRing(other.fine.flat[loops[1]])
    return float(shapely.distance(shapely.points(one.fine.flat[loops[0]]), ring).max())


def random(count: int = 500) -> None:
    """Random smooth surfaces, tack points and headings; from another start; turned, renumbered.

    Only where the net shears less than 60 degrees is another start asked to end in the same place.
    """
    steps, slow, flipped, sheared, seconds = [], [], 0, 0, time.process_time()
    starts, turned = {}, {}
    for seed in range(count):
        mesh = random_sheet(seed)
        rng = np.random.default_rng(100 + seed)
        quarter = len(mesh.vertices) // 4
        tack = mesh.vertices[quarter + rng.choice(2 * quarter)]
        angle = rng.uniform(0, 2 * np.pi)
        drape = drape_surface(
            mesh,
            TWILL,
            tack_mm=tack,
            warp=(np.cos(angle), np.sin(angle), 0),
            max_edge_mm=ANY,
        )
        turned[seed] = _turned_and_renumbered(mesh, tack, angle, drape, rng)
        if np.abs(drape.strain[:, 2]).max() > np.radians(60):
            sheared += 1
        else:
            starts[seed] = laid_again(drape, TWILL, (np.cos(angle), np.sin(angle), 0))[1]
        steps.append(drape.iterations)
        if not drape.converged:
            slow.append(seed)
        a, b, c = np.moveaxis(drape.flat[mesh.faces], 1, 0)
        double = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]
        flipped += int((double <= 0).sum())
    show(
        part="random",
        count=count,
        not_converged=slow,
        flipped=flipped,
        beyond_60_deg=sheared,
        steps_median=float(np.median(steps)),
        steps_most=max(steps),
        start_worst_mm=max(starts.values()),
        start_beyond=[seed for seed, mm in starts.items() if mm > 1e-3],
        turned_worst_mm=max(turned.values()),
        turned_beyond=[seed for seed, mm in turned.items() if mm > 1e-6],
        cpu_s=time.process_time() - seconds,
    )


def _turned_and_renumbered(mesh: SurfaceMesh, tack, angle: float, drape: Drape, rng) -> float:
    """How far any vertex lies elsewhere in the flat, mm, once the part is turned and renumbered."""
    q, _ = np.linalg.qr(rng.normal(size=(3, 3)))
    q *= np.sign(np.linalg.det(q))
    shift = rng.normal(size=3) * 300
    order, rows = rng.permutation(len(mesh.vertices)), rng.permutation(len(mesh.faces))
    back = np.argsort(order)
    other = SurfaceMesh((mesh.vertices @ q.T + shift)[order], back[mesh.faces][rows])
    again = drape_surface(
        other,
        TWILL,
        tack_mm=q @ tack + shift,
        warp=q @ [np.cos(angle), np.sin(angle), 0],
        max_edge_mm=ANY,
    )
    return float(np.abs(again.flat[back] - drape.flat).max())


def moulds(folder: Path) -> None:
    """The same tray imported coarse and fine, each refined twice as far; and the pod."""
    drapes = {}
    for name in ("tray_coarse", "tray_fine", "pod"):
        mesh = cavity(folder / f"{name}.stl")
        middle = 0.5 * (mesh.vertices.min(axis=0) + mesh.vertices.max(axis=0))
        for edge in (None, 2.5):
            if edge and name == "pod":
                continue
            tack = [middle[0], middle[1], mesh.vertices[:, 2].min()]
            if name == "pod":
                tack = refine(mesh).surface.corners.mean(axis=1)[0] * 0 + [middle[0], 0.0, tack[2]]
            drape = drape_surface(mesh, TWILL, tack_mm=tack, warp=(1, 0, 0), max_edge_mm=edge)
            drapes[name, edge] = drape
            show(
                part=name,
                edge_mm=edge,
                triangles=len(drape.fine.surface.faces),
                steps=drape.iterations,
                converged=drape.converged,
                locks=drape.locks,
                locked=locked_flat_area_fraction(drape, TWILL),
            )
    show(
        part="tray coarse against fine",
        outline_mm=outline_distance(drapes["tray_coarse", None], drapes["tray_fine", None]),
        coarse_refined_mm=outline_distance(drapes["tray_coarse", None], drapes["tray_coarse", 2.5]),
        fine_refined_mm=outline_distance(drapes["tray_fine", None], drapes["tray_fine", 2.5]),
    )


def cavity(file: Path) -> SurfaceMesh:
    """The faces of a block that do not lie on the sides of its box."""
    import trimesh

    block = trimesh.load(file)
    block.merge_vertices()
    points, faces = np.array(block.vertices), np.array(block.faces)
    faces = faces[(faces != np.roll(faces, 1, axis=1)).all(axis=1)]
    box = np.concatenate([points.min(axis=0), points.max(axis=0)])
    corners = points[faces][:, :, [0, 1, 2, 0, 1, 2]]
    faces = faces[~(np.abs(corners - box) < 1e-6).all(axis=1).any(axis=1)]
    piece = components(faces)
    faces = faces[piece == np.bincount(piece).argmax()]
    used, numbers = np.unique(faces, return_inverse=True)
    return SurfaceMesh(points[used], numbers.reshape(-1, 3))


def show(**row: object) -> None:
    """One line."""
    print(json.dumps(row), flush=True)


if __name__ == "__main__":
    wanted = sys.argv[1:] or ["caps", "trays", "random"]
    if "caps" in wanted:
        caps()
    if "trays" in wanted:
        trays()
    if "random" in wanted:
        after = wanted[wanted.index("random") + 1 :]
        random(int(after[0]) if after and after[0].isdigit() else 500)
    if "moulds" in wanted:
        moulds(Path(wanted[wanted.index("moulds") + 1]))
