"""Make the sample .blend files again, with the add-on's own buttons: `python3 tasks.py samples`."""

from __future__ import annotations

import os
import sys
import tempfile
from dataclasses import dataclass
from math import radians
from pathlib import Path

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE), str(HERE.parent)]
os.environ.setdefault("BLENDER_USER_RESOURCES", tempfile.mkdtemp(prefix="mouldply-"))

import bpy  # noqa: E402  # its user folder must be set before
import moulds  # noqa: E402

import addon  # noqa: E402


@dataclass(frozen=True)
class SamplePly:
    """A ply of a sample: `zones` are the mould's, `cloth` of the library."""

    name: str
    cloth: str
    angle_deg: float
    zones: tuple[str, ...]


DISH = ("cavity", "rim", "flange")
BOX = ("floor", "wall", "rim", "flange")
TWILL, GLASS = "carbon_twill_210", "glass_twill_163"

SAMPLES = {
    "hatch_cover": (
        moulds.hatch_cover,
        (
            SamplePly("outer skin", TWILL, 0, DISH),
            SamplePly("bias", TWILL, 45, DISH),
            SamplePly("inner skin", TWILL, 0, DISH),
        ),
    ),
    "instrument_pod": (
        moulds.instrument_pod,
        (
            SamplePly("outer skin", GLASS, 0, DISH),
            SamplePly("inner skin", GLASS, 0, DISH),
        ),
    ),
    "telescope_tray": (
        moulds.telescope_tray,
        (
            SamplePly("outer skin", TWILL, 0, BOX),
            SamplePly("inner skin", TWILL, 0, BOX),
        ),
    ),
}


def main(names: list[str]) -> None:
    """Make the samples named, or all."""
    for name in names or SAMPLES:
        shape, plies = SAMPLES[name]
        make(HERE / f"{name}.blend", shape(), plies)
        print(f"{name}.blend: {(HERE / f'{name}.blend').stat().st_size / 1024:.0f} kB")


def make(file: Path, mould: moulds.Mould, plies: tuple[SamplePly, ...]) -> None:
    """Write one sample: 1 unit is 1 mm, the mould the active object."""
    bpy.ops.wm.read_factory_settings(use_empty=True)
    addon.register()
    try:
        units = bpy.context.scene.unit_settings
        units.system, units.scale_length, units.length_unit = "METRIC", 0.001, "MILLIMETERS"
        thing = add_object(mould)
        for ply in plies:
            bpy.ops.mouldply.add_cloth(cloth=ply.cloth)
            select_zones(thing, mould, ply.zones)
            bpy.ops.mouldply.new_ply(name=ply.name, angle=radians(ply.angle_deg))
            thing.mouldply.plies[-1].fabric = ply.cloth
        bpy.ops.wm.save_as_mainfile(filepath=str(file), compress=True)
    finally:
        addon.unregister()


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
