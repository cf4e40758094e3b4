"""Make the sample .blend files again, with the add-on's own buttons: `python3 tasks.py samples`.

Longer than most files: a table of the samples, and the hands that make them.
"""

from __future__ import annotations

import json
import os
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, field
from math import radians
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE), str(HERE.parent)]
os.environ.setdefault("BLENDER_USER_RESOURCES", tempfile.mkdtemp(prefix="mouldply-"))

import bpy  # noqa: E402  # its user folder must be set before
import long_moulds  # noqa: E402
import moulds  # noqa: E402
import numpy as np  # noqa: E402
from mathutils import Matrix  # noqa: E402

import addon  # noqa: E402

Direction = tuple[float, float, float]
Point = tuple[float, ...]  # on the mould, mm
Lines = tuple[tuple[Point, ...], ...]


@dataclass(frozen=True, kw_only=True)
class SamplePly:
    """A ply of a sample: `zones` are the mould's, `cloth` of the library; `own` its settings.

    `darts` are lines of points (mm) on the mould, each from the rim inwards; `rosette` is where
    0 degrees points and which side is looked at, where the mould's own will not do.
    """

    name: str
    cloth: str
    angle_deg: float = 0.0
    zones: tuple[str, ...]
    darts: Lines = ()
    rosette: tuple[Direction, Direction] | None = None
    own: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class Sample:
    """A lesson. Settings by their path below the scene's, the mould's and the roll's own."""

    shape: Callable[[], moulds.Mould]
    plies: tuple[SamplePly, ...]
    scene: dict[str, Any] = field(default_factory=dict)
    mould: dict[str, Any] = field(default_factory=dict)
    parts: dict[str, tuple[str, Direction]] = field(default_factory=dict)  # name: zone and pull
    rolls: dict[str, dict[str, Any]] = field(default_factory=dict)  # by cloth
    offcuts: tuple[tuple[str, float, float], ...] = ()  # cloth, along and across the warp, mm


DISH = ("cavity", "rim", "flange")
BOX = ("floor", "wall", "rim", "flange")
TROUGH = ("cap1", "cap2", "cap3", "wall", "rim", "flange")
TWILL, GLASS, LIGHT = "carbon_twill_210", "glass_twill_163", "glass_twill_106"
UP, FORE, AFT = (0.0, 0.0, 1.0), (1.0, 0.0, 0.0), (-1.0, 0.0, 0.0)
PORT, STARBOARD = (0.0, 1.0, 0.0), (0.0, -1.0, 0.0)
UD, MAT = "carbon_ud_200", "glass_mat_300"

# Prices and stock are invented, in round figures.
BAGGED = {
    "laminate.process": "bagged",
    "laminate.mix_hardener": 30.0,
    "laminate.pot_life_min": 40.0,
    "laminate.shop_c": 20.0,
    "rates.currency": "EUR",
    "rates.resin_per_kg": 26.0,
    "rates.peel_ply_per_m2": 3.0,
    "rates.bag_per_m2": 2.5,
    "rates.labour_per_hour": 35.0,
    "nest.seconds": 5.0,
}
BY_HAND = {**BAGGED, "laminate.process": "hand"}
CORNER_POINTS = 9  # of a box's ring, in one corner
NO_TRIM = {"trim_mm": 0.0}
CARBON_ROLL = {"price_per_m": 32.0, "endless": False, "length_mm": 8000.0}
GLASS_ROLL = {"price_per_m": 7.0, "endless": False, "length_mm": 25_000.0}


def _tray_darts(
    shape: Callable[[], moulds.Mould], *, ring: int, edge_mm: float, tip_mm: float,
    sides: tuple[int, ...],
) -> Lines:  # fmt: skip
    """Return darts beside each corner of a box, from the part's edge down to a ring of its floor.

    `edge_mm` and `tip_mm` from the middle of the corner's arc, measured along the rings; `sides`
    1 and -1 for either side of it.
    """
    tray = shape()
    places, count = np.array(tray.vertices), CORNER_POINTS * 4
    edge = max(end for _, end in tray.seams) // count  # the outermost ring a seam reaches
    middles = sorted({start % count for start, _ in tray.seams})
    return tuple(
        tuple(
            _along(places[number * count : (number + 1) * count], middle, side * away)
            for number, away in ((edge, edge_mm), (ring, tip_mm))
        )
        for middle in middles
        for side in sides
    )


def _along(ring: np.ndarray, start: int, away_mm: float) -> Point:
    """Return the point so far along a closed ring (n, 3) from one of its points, either way."""
    onward = np.roll(ring, -start, axis=0)
    if away_mm < 0:
        onward = np.roll(onward[::-1], 1, axis=0)
    gone = np.cumsum([0.0, *np.linalg.norm(np.diff(onward, axis=0), axis=1)])
    return tuple(float(np.interp(abs(away_mm), gone, onward[:, axis])) for axis in range(3))


SAMPLES = {
    "hatch_cover": Sample(  # the first way through; a doubler under the latch
        shape=moulds.hatch_cover,
        plies=(
            SamplePly(name="outer skin", cloth=TWILL, zones=DISH),
            SamplePly(name="bias", cloth=TWILL, angle_deg=45, zones=DISH),
            SamplePly(name="latch doubler, large", cloth=TWILL, zones=("crown",), own=NO_TRIM),
            SamplePly(name="latch doubler, small", cloth=TWILL, zones=("heart",), own=NO_TRIM),
            SamplePly(name="inner skin", cloth=TWILL, zones=DISH),
        ),
        scene=BAGGED,
        mould={"layer_height_mm": 0.15},
        rolls={TWILL: CARBON_ROLL},
        offcuts=((TWILL, 300.0, 240.0),),
    ),
    "telescope_tray": Sample(  # corners cut at seams, then on both sides of them
        shape=moulds.telescope_tray,
        plies=(
            SamplePly(name="outer skin", cloth=TWILL, zones=BOX, own={"lap_mm": 20.0}),
            SamplePly(
                name="inner skin",
                cloth=TWILL,
                zones=BOX,
                darts=_tray_darts(
                    moulds.telescope_tray, ring=2, edge_mm=36, tip_mm=28, sides=(1, -1)
                ),
                own={"use_seams": False},
            ),
        ),
        scene={**BAGGED, "dressing.notch_every_mm": 60.0},
        rolls={TWILL: CARBON_ROLL},
    ),
    "boom_cap": Sample(  # unidirectional cloth in steps, between two wraps of light glass
        shape=long_moulds.boom_cap,
        plies=(
            SamplePly(name="outer wrap", cloth=LIGHT, angle_deg=45, zones=TROUGH),
            SamplePly(name="cap, whole length", cloth=UD, zones=TROUGH[:3], own=NO_TRIM),
            SamplePly(name="cap, second step", cloth=UD, zones=TROUGH[1:3], own=NO_TRIM),
            SamplePly(name="cap, middle", cloth=UD, zones=TROUGH[2:3], own=NO_TRIM),
            SamplePly(name="inner wrap", cloth=LIGHT, angle_deg=45, zones=TROUGH),
        ),
        scene={**BAGGED, "dressing.trim_mm": 10.0},
        rolls={UD: {"price_per_m": 12.0}, LIGHT: GLASS_ROLL},
    ),
    "cockpit_tray": Sample(  # chopped mat by hand: no fibre direction, thick and wet
        shape=long_moulds.cockpit_tray,
        plies=(
            SamplePly(name="first mat", cloth=MAT, zones=BOX, own={"lap_mm": 30.0}),
            SamplePly(
                name="second mat",
                cloth=MAT,
                zones=BOX,
                darts=_tray_darts(
                    long_moulds.cockpit_tray, ring=4, edge_mm=87, tip_mm=54, sides=(1,)
                ),
                own={"use_seams": False},
            ),
        ),
        scene={
            **BY_HAND,
            "laminate.process": "mat",
            "laminate.mix_hardener": 2.0,
            "laminate.pot_life_min": 20.0,
            "rates.resin_per_kg": 7.0,
            "paper.sheet": "A3",
        },
        rolls={MAT: {"price_per_m": 3.0}},
    ),
    "mast_foot_fairing": Sample(  # held by its own belly: a mould in two parts, a ply for each
        shape=long_moulds.mast_foot_fairing,
        plies=(
            SamplePly(name="fore skin", cloth=GLASS, zones=("fore",), rosette=(UP, AFT)),
            SamplePly(name="aft skin", cloth=GLASS, zones=("aft",), rosette=(UP, FORE)),
            SamplePly(
                name="port strip",
                cloth=LIGHT,
                angle_deg=45,
                zones=("port",),
                rosette=(UP, STARBOARD),
            ),
            SamplePly(
                name="starboard strip",
                cloth=LIGHT,
                angle_deg=45,
                zones=("starboard",),
                rosette=(UP, PORT),
            ),
        ),
        parts={"fore half": ("fore", AFT), "aft half": ("aft", FORE)},
        scene={**BY_HAND, "dressing.trim_mm": 12.0, "dressing.trim_on_mould": False},
        mould={"pull_by": "given", "pull": (0.0, 0.0, 1.0)},
        rolls={GLASS: GLASS_ROLL, LIGHT: GLASS_ROLL},
    ),
    "battery_tray": Sample(  # faults to find before anything is printed
        shape=long_moulds.faulty_tray,
        plies=(SamplePly(name="skin", cloth=LIGHT, zones=BOX, own={"use_seams": False}),),
        scene={**BY_HAND, "laminate.pot_life_min": 4.0, "laminate.scale_step_g": 1.0},
        rolls={LIGHT: GLASS_ROLL},
    ),
}


def main(names: list[str]) -> None:
    """Make the samples named, or all."""
    for name in names or SAMPLES:
        file = HERE / f"{name}.blend"
        make(file, SAMPLES[name])
        print(f"{file.name}: {file.stat().st_size / 1024:.0f} kB")


def make(file: Path, sample: Sample) -> None:
    """Write one sample: 1 unit is 1 mm, the mould the active object."""
    bpy.ops.wm.read_factory_settings(use_empty=True)
    addon.register()
    try:
        units = bpy.context.scene.unit_settings
        units.system, units.scale_length, units.length_unit = "METRIC", 0.001, "MILLIMETERS"
        mould = sample.shape()
        thing = add_object(mould)
        kept = bpy.context.scene.mouldply
        for ply in sample.plies:
            add_ply(thing, mould, ply)
        for name, (zone, pull) in sample.parts.items():
            add_part(thing, mould, name, zone, pull)
        put(thing.mouldply, sample.mould)
        put(kept, sample.scene)
        for roll in kept.rolls:
            put(roll, sample.rolls.get(roll.fabric, {}))
        for cloth, along, across in sample.offcuts:
            offcut = kept.offcuts.add()
            offcut.name, offcut.fabric = f"Offcut {len(kept.offcuts)}", cloth
            offcut.length_mm, offcut.width_mm = along, across
        forget_folders()
        bpy.ops.wm.save_as_mainfile(filepath=str(file), compress=True)
    finally:
        addon.unregister()


def forget_folders() -> None:
    """Empty the file browsers: they keep the home folder of whoever makes the file."""
    for screen in bpy.data.screens:
        for space in (space for area in screen.areas for space in area.spaces):
            if space.type == "FILE_BROWSER" and space.params is not None:
                space.params.directory = b"/" * 1000  # what is shorter leaves the rest in the file
                space.params.directory = b"//"


def add_ply(thing: bpy.types.Object, mould: moulds.Mould, ply: SamplePly) -> None:
    """Add a ply as a person does: cloth, faces, New Ply, cuts."""
    bpy.ops.mouldply.add_cloth(cloth=ply.cloth)
    select_zones(thing, mould, ply.zones)
    bpy.ops.mouldply.new_ply(name=ply.name, angle=radians(ply.angle_deg))
    made = thing.mouldply.plies[-1]
    made.fabric = ply.cloth
    for name, value in ply.own.items():
        setattr(made, name, value)
        if f"use_{name}" in made.bl_rna.properties:
            setattr(made, f"use_{name}", True)
    if ply.rosette is not None:
        made.rosette = add_rosette(thing, ply.name, ply.zones, mould, ply.rosette)
    for line in ply.darts:
        bpy.ops.mouldply.draw_cut(kind="dart", points=json.dumps(line))


def add_rosette(
    thing: bpy.types.Object, name: str, zones: tuple[str, ...], mould: moulds.Mould,
    rosette: tuple[Direction, Direction],
) -> bpy.types.Object:  # fmt: skip
    """Stand arrows in the middle of a ply: X is 0 degrees, Z looks at the person."""
    zero, normal = np.array(rosette)
    corners = {v for zone in zones for face in mould.zones[zone] for v in mould.polygons[face]}
    matrix = np.eye(4)
    matrix[:3, :3] = np.column_stack([zero, np.cross(normal, zero), normal])
    # Rounded: sums of many numbers end differently from one numpy to the next.
    matrix[:3, 3] = np.array(mould.vertices)[sorted(corners)].mean(axis=0).round(3) + 0.0
    arrows = bpy.data.objects.new(f"Rosette of {name}", None)
    bpy.context.scene.collection.objects.link(arrows)
    arrows.empty_display_type, arrows.empty_display_size = "ARROWS", 25.0
    arrows.matrix_world = Matrix(matrix.tolist())
    arrows.mouldply.owner, arrows.show_in_front = thing, True
    return arrows


def add_part(
    thing: bpy.types.Object, mould: moulds.Mould, name: str, zone: str, pull: Direction
) -> None:
    """Add a part of a split mould as a person does: faces, New Mould Part, its pull."""
    select_zones(thing, mould, (zone,))
    bpy.ops.mouldply.new_mould_part(name=name)
    part = thing.mouldply.parts[-1]
    part.pull_by, part.pull = "given", pull


def put(group: bpy.types.PropertyGroup, values: dict[str, Any]) -> None:
    """Set values by their path."""
    for path, value in values.items():
        *way, name = path.split(".")
        home = group
        for step in way:
            home = getattr(home, step)
        setattr(home, name, value)


def add_object(mould: moulds.Mould) -> bpy.types.Object:
    """Add the mould as a mesh object; its seams are marked."""
    mesh = bpy.data.meshes.new(mould.name)
    mesh.from_pydata(mould.vertices, [], mould.polygons)
    marked = {tuple(sorted(pair)) for pair in mould.seams}
    for edge in mesh.edges:
        edge.use_seam = tuple(sorted(edge.vertices)) in marked
    thing = bpy.data.objects.new(mould.name, mesh)
    bpy.context.scene.collection.objects.link(thing)
    bpy.context.view_layer.objects.active = thing
    thing.select_set(True)
    return thing


def select_zones(thing: bpy.types.Object, mould: moulds.Mould, zones: tuple[str, ...]) -> None:
    """Select the polygons of these zones."""
    wanted = {number for zone in zones for number in mould.zones[zone]}
    for polygon in thing.data.polygons:
        polygon.select = polygon.index in wanted


if __name__ == "__main__":
    main(sys.argv[1:])
