"""`mouldply new`: a job folder from an STL, for those who have no Blender at hand."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from ..errors import InputError
from ..laminate.code import read_code
from ..units import LENGTHS
from . import extras
from .stock import numbers
from .typed import lengths_mm

if TYPE_CHECKING:
    from ..cloth.fabric import Fabric

DEFAULT_CLOTH = "carbon_twill_210"
NEW_HELP = """\
Make a job folder from an STL. The plies cover the smooth faces round a point of the mould.

  mouldply new tray.stl --plies 0,45,0
  mouldply new tray.stl --plies "[0/45]s"
  mouldply new tray.stl --plies "[M/0f/45f]T" --mat glass_mat_225 --cloth glass_twill_200
  mouldply new tray.stl --library my_cloths.json --cloth my_twill
  mouldply new pod.stl --unit in --cloth glass_twill_163 --at 0,0,-40 --part "Pod"
  mouldply run "tray job"
"""


def add_parsers(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    new = commands.add_parser(
        "new",
        help="make a job folder from an STL",
        description=NEW_HELP,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    new.add_argument("stl", type=Path, help="the mould")
    new.add_argument("--out", type=Path, help="job folder to make (default: beside the STL)")
    new.add_argument("--part", help="name on every pattern (default: the file's)")
    new.add_argument(
        "--unit", choices=sorted(LENGTHS), default="mm", help="unit of the STL's numbers"
    )
    new.add_argument(
        "--plies",
        default="0",
        metavar="A,B,...",
        help="fibre angle of each ply, or a laminate code such as [0/45]s",
    )
    new.add_argument("--cloth", default=DEFAULT_CLOTH, metavar="ID", help="from `mouldply cloths`")
    new.add_argument("--mat", metavar="ID", help="the cloth of plies a laminate code marks M")
    new.add_argument(
        "--at",
        metavar="X,Y,Z",
        help="where the region starts to grow, in mm or with units such as 0,0,-2in",
    )
    new.add_argument("--sharp", type=float, metavar="DEG", help="edges that end the region")
    new.add_argument("--up", metavar="X,Y,Z", help="towards the person who lays up")
    new.add_argument("--zero", metavar="X,Y,Z", help="the 0-degree direction")
    extras.add_options(new)
    new.set_defaults(command=new_command)


def new_command(given: argparse.Namespace) -> int:
    """Read the STL, make the job, write it."""
    from dataclasses import replace

    from ..cloth.library import load_fabrics
    from ..job import save_job
    from ..start import SHARP_DEG, job_from_mesh
    from ..surface.mesh import MouldMesh
    from ..surface.stl import read_stl

    cloths = load_fabrics(given.library)
    for name in filter(None, (given.cloth, given.mat)):
        if name not in cloths:
            raise InputError(f"There is no cloth '{name}'.", extras.SEE_CLOTHS)
    plies = _plies(given.plies, cloths[given.cloth], cloths[given.mat or given.cloth])
    mesh = read_stl(given.stl).mesh
    mould = MouldMesh(mesh.vertices * LENGTHS[given.unit], mesh.faces)
    folder = given.out or given.stl.with_name(f"{given.stl.stem} job")
    if folder.exists() and not (folder.is_dir() and not any(folder.iterdir())):
        raise InputError(
            f"'{folder}' is already there and no empty folder.", "Choose another with --out."
        )
    job = job_from_mesh(
        mould,
        cloths[given.cloth],
        part=given.part or given.stl.stem,
        angles_deg=[angle for angle, _ in plies],
        at_mm=None if given.at is None else _three("--at", given.at, lengths_mm),
        sharp_deg=SHARP_DEG if given.sharp is None else given.sharp,
        up=None if given.up is None else _three("--up", given.up, numbers),
        zero=None if given.zero is None else _three("--zero", given.zero, numbers),
    )
    laid = [replace(ply, fabric=of.id) for ply, (_, of) in zip(job.plies, plies, strict=True)]
    used = {of.id: of for _, of in plies}
    job = replace(job, plies=tuple(laid), fabrics=tuple(used.values()))
    job = extras.with_extras(job, given)
    save_job(job, folder)
    box = mould.vertices.max(axis=0) - mould.vertices.min(axis=0)
    area = mould.areas[job.plies[0].faces].sum()
    counted, each = ("1 ply", "") if len(job.plies) == 1 else (f"{len(job.plies)} plies", " each")
    print(
        f"{folder}: mould of {box[0]:.1f} x {box[1]:.1f} x {box[2]:.1f} mm, "
        f"{counted} on {len(job.plies[0].faces)} faces, {area / 1e6:.4f} m2{each}."
    )
    print(f'Next: mouldply run "{folder}"')
    return 0


def _plies(text: str, cloth: Fabric, mat: Fabric) -> list[tuple[float, Fabric]]:
    """Return angle and cloth of each ply; mat has no angle and lies as it comes.

    Raises
    ------
    InputError : neither angles nor a laminate code; a ply marked for a kind its cloth is not of
    """
    if "[" not in text:
        return [(angle, cloth) for angle in numbers("--plies", text)]
    plies = []
    for number, ply in enumerate(read_code(text), start=1):
        of = mat if ply.angle_deg is None else cloth
        start = f"--plies is '{text[:60]}': ply {number} is marked"
        if ply.angle_deg is None and of.kind != "mat":
            raise InputError(
                f"{start} M, and '{of.id}' is no mat.", "Choose one with --mat: mouldply cloths."
            )
        if ply.woven and of.kind in ("unidirectional", "mat"):
            raise InputError(
                f"{start} f, and '{of.id}' is not woven.", "Leave the f out or change --cloth."
            )
        plies.append((ply.angle_deg or 0.0, of))
    return plies


def _three(option: str, text: str, read: Callable[[str, str], list[float]]) -> list[float]:
    values = read(option, text)
    if len(values) != 3:
        raise InputError(f"{option} is '{text}'.", "Write three numbers: x,y,z.")
    return values
