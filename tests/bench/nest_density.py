"""Nesting figures, written as JSON: density on open instances, roll saved, ply-like sets, time.

    python tests/bench/nest_density.py [density|saved|plies ...] --instances FOLDER

FOLDER (or the environment variable NESTING_INSTANCES) holds strip packing instances as JSON; they
are not part of the project. Densities are shares of the best known ones, from record layouts
published with arXiv:2509.13329. Compare only within one run: times depend on the machine.
"""

import argparse
import json
import os
import sys
import time
from pathlib import Path

import numpy as np
from shapely import Polygon

sys.path[:0] = [str(Path(__file__).parents[2]), str(Path(__file__).parent)]

from nest_shapes import ply_pieces  # noqa: E402

from flatten.cloth.fabric import Fabric  # noqa: E402
from flatten.nest import strips  # noqa: E402
from flatten.nest.clock import Clock  # noqa: E402
from flatten.nest.part import Member, Part, parts_of, reach, simple_cover  # noqa: E402
from flatten.nest.settings import NestSettings  # noqa: E402
from flatten.nest.shelf import Strip, shelve  # noqa: E402
from flatten.nest.strips import StripLayer  # noqa: E402
from flatten.nest.turns import Turns  # noqa: E402

BEST_KNOWN = {
    "albano": 89.8,
    "dagli": 90.2,
    "marques": 92.0,
    "shirts": 90.9,
    "fu": 92.4,
    "jakobs1": 89.2,
    "mao": 86.8,
    "shapes0": 70.0,
}
CLOTH = Fabric(
    id="cloth",
    name="one-way cloth",
    kind="unidirectional",
    areal_weight_gsm=300,
    fibre_density_g_cm3=1.8,
    dry_thickness_mm=0.3,
    roll_width_mm=1250,
    shear_lock_deg=40,
)


def instance(folder: Path, name: str) -> tuple[list[Part], float]:
    """Return the parts, scaled to a strip 1250 mm high, and that height."""
    data = json.loads((folder / f"{name}.json").read_text())
    scale = 1250 / data["strip_height"]
    parts = []
    for item in data["items"]:
        outline = Polygon(np.array(item["shape"]["data"]) * scale)
        angles = tuple(item["allowed_orientations"])
        parts.append(
            Part(
                members=(Member(piece=str(item["id"])),),
                outline=outline,
                hull=simple_cover(outline),
                area_mm2=outline.area,
                turns=Turns(base_deg=angles),
                count=item["demand"],
            )
        )
    return parts, 1250.0


def boxes(parts: list[Part]) -> list[Part]:
    """Return the parts' bounding boxes as parts."""
    made = []
    for part in parts:
        box = part.outline.envelope
        made.append(
            Part(
                members=part.members,
                outline=box,
                hull=box,
                area_mm2=part.area_mm2,
                turns=part.turns,
                count=part.count,
            )
        )
    return made


def laid_density(parts: list[Part], height: float, seconds: float, seed: int = 1) -> float:
    """Return the density in % of the strip, without gap or margin."""
    layer = StripLayer(NestSettings(gap_mm=0, seconds=seconds, seed=seed))
    counts = [part.count for part in parts]
    strip = Strip(low_y=0.0, high_y=height)
    plain, _ = shelve(parts, counts, strip, 0.0)
    spots = layer.lay(parts, counts, strip, Clock(seconds))
    length = min(reach(parts, spots), reach(parts, plain))
    area = sum(part.area_mm2 * part.count for part in parts)
    return 100 * area / length / height


def library_alone(parts: list[Part], height: float, seconds: float, seed: int = 1) -> float:
    """Return the density the library reaches when it is called by itself, as its manual says."""
    import spyrrow

    items = [
        spyrrow.Item(
            str(number),
            [*part.outline.exterior.coords[:-1]],
            part.count,
            list(part.turns.base_deg),
        )
        for number, part in enumerate(parts)
    ]
    effort = spyrrow.StripPackingConfig(
        early_termination=False, total_computation_time=round(seconds), seed=seed
    )
    return 100 * spyrrow.StripPackingInstance("strip", height, items).solve(effort).density


def density(
    folder: Path, seconds: list[float], names: list[str], seed: int, *, alone: bool
) -> dict:
    """Return our density and share of the best known, and the library's alone, for each time.

    One seed may be luck: on jakobs1 they lie 7 % apart at 10 s. Compare several.
    """
    table: dict = {}
    for budget in seconds:
        rows = {}
        for name in names:
            parts, height = instance(folder, name)
            ways = {"": laid_density} | ({"_alone": library_alone} if alone else {})
            rows[name] = {}
            for way, search in ways.items():
                found = search(parts, height, budget, seed)
                rows[name][f"density{way}"] = round(found, 2)
                rows[name][f"share{way}"] = round(100 * found / BEST_KNOWN[name], 2)
            print(f"{budget:g} s {name}: {rows[name]}", flush=True)
        means = {
            f"mean_{key}": round(float(np.mean([row[key] for row in rows.values()])), 2)
            for key in (("share", "share_alone") if alone else ("share",))
        }
        table[f"{budget:g} s"] = {**means, **rows}
        print(f"{budget:g} s: {means}", flush=True)
    return table


def saved(folder: Path, seconds: float) -> dict:
    """Return the roll saved in %: against boxes on shelves, and boxes searched for as long."""
    rows = {}
    for name in BEST_KNOWN:
        parts, height = instance(folder, name)
        ours = laid_density(parts, height, seconds)
        searched = laid_density(boxes(parts), height, seconds)
        spots, _ = shelve(parts, [p.count for p in parts], Strip(low_y=0.0, high_y=height), 0.0)
        area = sum(part.area_mm2 * part.count for part in parts)
        shelves = 100 * area / reach(parts, spots) / height
        rows[name] = {
            "against_shelves": round(100 * (1 - shelves / ours), 2),
            "against_searched_boxes": round(100 * (1 - searched / ours), 2),
        }
        print(f"{name}: {rows[name]}", flush=True)
    keys = ("against_shelves", "against_searched_boxes")
    means = {f"mean_{k}": round(float(np.mean([r[k] for r in rows.values()])), 2) for k in keys}
    print(means, flush=True)
    return {**means, **rows}


def plies(counts: list[int], seconds: float, *, whole: bool) -> dict:
    """Return first searched layout, density chunked and whole, and peak memory."""
    rows = {}
    for count in counts:
        parts = parts_of(ply_pieces(count), CLOTH, NestSettings())
        row = {"chunks": _plies(parts, seconds)}
        if whole and count > strips.WHOLE_UP_TO:
            limit, strips.WHOLE_UP_TO = strips.WHOLE_UP_TO, 10**9
            row["whole"] = _plies(parts, seconds)
            strips.WHOLE_UP_TO = limit
        rows[str(count)] = row
        print(count, row, flush=True)
    return rows


def _plies(parts: list[Part], seconds: float) -> dict:
    layer = StripLayer(NestSettings(seconds=seconds))
    strip = Strip(low_y=10.0, high_y=1240.0)
    started, first, peak = time.monotonic(), [], [0.0]

    def look(share: float, what: str) -> None:
        peak[0] = max(peak[0], _memory_mb())
        if not first and all(chunk.searched for chunk in layer.chunks):
            first.append(time.monotonic() - started)

    spots = layer.lay(parts, [1] * len(parts), strip, Clock(seconds, look))
    area = sum(part.area_mm2 for part in parts)
    return {
        "first_s": round(first[0], 2) if first else None,
        "density": round(100 * area / reach(parts, spots) / 1230, 2),
        "seconds": round(time.monotonic() - started, 1),
        "peak_mb": round(peak[0]),
    }


def _memory_mb() -> float:
    """Return what this process and its children hold now (Linux only, else 0)."""
    proc = Path("/proc")
    if not proc.exists():
        return 0.0
    me, total = os.getpid(), 0.0
    for entry in proc.iterdir():
        if entry.name.isdigit():
            try:
                text = (entry / "status").read_text()
            except OSError:
                continue
            fields = dict(line.split(":", 1) for line in text.splitlines() if ":" in line)
            if entry.name == str(me) or int(fields.get("PPid", 0)) == me:
                total += int(fields.get("VmRSS", "0 kB").split()[0]) / 1024
    return total


def main() -> None:
    """Run what is asked for and write the figures beside each other."""
    reader = argparse.ArgumentParser(description=__doc__)
    every = ("density", "saved", "plies")
    reader.add_argument("what", nargs="*", default=every)
    reader.add_argument("--instances", default=os.environ.get("NESTING_INSTANCES", ""))
    reader.add_argument("--names", nargs="*", default=list(BEST_KNOWN), choices=BEST_KNOWN)
    reader.add_argument("--seed", type=int, default=1, help="density: of both searches")
    reader.add_argument("--only-ours", action="store_true", help="density: not the library alone")
    reader.add_argument("--only-chunks", action="store_true", help="plies: not the whole set too")
    reader.add_argument("--seconds", type=float, nargs="*", default=[10, 30, 60])
    reader.add_argument("--counts", type=int, nargs="*", default=[50, 200, 1000])
    reader.add_argument("--out", default="")
    asked = reader.parse_args()
    folder = Path(asked.instances)
    result: dict = {}
    for name in asked.what:
        if name in ("density", "saved") and not (folder / "albano.json").exists():
            print(f"{name}: left out, no instances in '{folder}'")
        elif name == "density":
            result[name] = density(
                folder, asked.seconds, asked.names, asked.seed, alone=not asked.only_ours
            )
        elif name == "saved":
            result[name] = saved(folder, asked.seconds[0])
        elif name == "plies":
            result[name] = plies(asked.counts, asked.seconds[-1], whole=not asked.only_chunks)
    text = json.dumps(result, indent=1)
    print(text)
    if asked.out:
        Path(asked.out).write_text(text + "\n")


if __name__ == "__main__":
    main()
