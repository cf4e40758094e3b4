"""Proposed darts on trays and a hemisphere: how many, how long, what stays locked; by mesh size.

Run by hand: python tests/bench/relief_darts.py [name ...]; prints a table and writes JSON. Each
part is taken at about 8,000 and 32,000 triangles; the accepted cuts are cut and draped once
more on the given mesh, as an accepted cut is.
"""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from cloth.trays import tray  # noqa: E402
from shapes import cap  # noqa: E402

from flatten.cloth.drape import drape_surface  # noqa: E402
from flatten.cloth.library import load_fabrics  # noqa: E402
from flatten.cloth.relief import propose_relief  # noqa: E402
from flatten.cloth.strain import beyond_limit, flat_areas  # noqa: E402
from flatten.surface.cut import cut  # noqa: E402
from flatten.surface.mesh import MouldMesh  # noqa: E402
from flatten.surface.region import Region  # noqa: E402

CLOTH = "carbon_twill_200"  # locks at 50 degrees
TIP_MM = 3.0
PARTS = {
    "tray 30": [lambda e: tray(depth=30, edge_mm=e), (0, 0, 0), (16.0, 3.9)],
    "tray 50": [lambda e: tray(depth=50, edge_mm=e), (0, 0, 0), (18.0, 4.0)],
    "tray 80": [lambda e: tray(depth=80, edge_mm=e), (0, 0, 0), (22.0, 4.6)],
    "tray 30 flange": [lambda e: tray(depth=30, flange=20, edge_mm=e), (0, 0, 0), (40.0, 5.0)],
    "tray 50 flange": [lambda e: tray(depth=50, flange=20, edge_mm=e), (0, 0, 0), (40.0, 5.2)],
    "tray 80 flange": [lambda e: tray(depth=80, flange=20, edge_mm=e), (0, 0, 0), (45.0, 5.6)],
    "hemisphere": [lambda n: cap(150, 90, n), (0, 0, 150), (37, 74)],
}


def measure(make, tack, size) -> dict:
    """Propose, accept, cut and drape again."""
    cloth, surface = load_fabrics()[CLOTH], make(size)
    start = time.perf_counter()
    darts = propose_relief(surface, cloth, tack_mm=tack, warp=(1, 0, 0))
    seconds = time.perf_counter() - start
    mould = MouldMesh(surface.vertices, surface.faces)
    region = Region("part", np.arange(len(surface.faces)))
    (patch,) = cut(mould, region, [dart.cut for dart in darts])
    drape = drape_surface(patch.surface, cloth, tack_mm=tack, warp=(1, 0, 0))
    fine = drape.fine
    area = np.abs(flat_areas(fine.flat, fine.surface.faces))
    middle = fine.surface.corners.mean(axis=1)
    clear = np.ones(len(area), bool)
    for dart in darts:
        clear &= np.linalg.norm(middle - dart.cut.path[-1], axis=1) > TIP_MM
    locked = area[beyond_limit(fine.strain, cloth) & clear].sum() / area.sum()
    tips = np.abs([dart.cut.path[-1] for dart in darts])
    return {
        "faces": len(surface.faces),
        "darts": len(darts),
        "length_mm": sorted({round(dart.length_mm, 2) for dart in darts}),
        "locked_before": sum(dart.before.locked_share for dart in darts),
        "locked_shown": sum(dart.after.locked_share for dart in darts),
        "locked_after": float(locked),
        "mirror_mm": float(np.ptp(tips, axis=0).max()) if len(darts) > 1 else 0.0,
        "converged": bool(drape.converged),
        "accept_deg": max((dart.accept_deg for dart in darts), default=0.0),
        "seconds": seconds,
    }


def main(names: list[str]) -> None:
    """Print a row for each part and mesh."""
    rows = {}
    for name in names or list(PARTS):
        make, tack, sizes = PARTS[name]
        for size in sizes:
            row = rows[f"{name} {size}"] = measure(make, tack, size)
            print(
                f"{name:15s} {row['faces']:6d}  {row['darts']} x {row['length_mm']} mm  locked "
                f"{row['locked_before']:.2%} -> {row['locked_after']:.3%} (shown "
                f"{row['locked_shown']:.3%})  mirror "
                f"{row['mirror_mm']:.2f} mm  or {row['accept_deg']:.0f} deg  "
                f"{'' if row['converged'] else 'NOT AT REST '}{row['seconds']:.0f} s",
                flush=True,
            )
    out = ROOT / "out" / "bench"
    out.mkdir(parents=True, exist_ok=True)
    (out / "relief_darts.json").write_text(json.dumps(rows, indent=1))


if __name__ == "__main__":
    main(sys.argv[1:])
