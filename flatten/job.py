"""Job: everything a run needs, as one value; the job folder is the same on disk.

Longer than most files: the value and its folder have the same fields, and change together.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import json
import os
import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from .arrays import Floats, Ints, frozen_ints
from .cloth.fabric import Fabric
from .errors import InputError
from .export.paper import PaperSettings
from .export.settings import FileSettings
from .json_file import read_json
from .laminate.extra import CoreLayer, Extra
from .laminate.ply import Ply
from .laminate.settings import LaminateSettings
from .mould.check import MouldPart
from .mould.settings import MouldSettings
from .nest.roll import Stock
from .nest.settings import NestSettings
from .packed import read_arrays
from .pattern.settings import Dressing
from .records import from_plain, to_plain
from .surface.mesh import MouldMesh
from .surface.rosette import Rosette

FORMAT = "mouldply job"
VERSION = 1
JOB_FILE, ARRAY_FILE = "job.json", "arrays.npz"
MOST_JSON_BYTES = 64 * 2**20  # a job of 200 plies is below 1 MB
MOST_PLIES = 500
MOST_NAME = 200  # characters: three lines of a label
NO_FACES: Ints = np.zeros(0, np.int64)


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """Everything that is not the mould, the plies or the stock."""

    mould: MouldSettings = field(default_factory=MouldSettings)
    dressing: Dressing = field(default_factory=Dressing)
    laminate: LaminateSettings = field(default_factory=LaminateSettings)
    nest: NestSettings = field(default_factory=NestSettings)
    paper: PaperSettings = field(default_factory=PaperSettings)
    files: FileSettings = field(default_factory=FileSettings)
    edge_mm: float | None = None  # triangles are refined to this; None: 5 mm or 1/60 of the size
    seed: int = 20_011

    def __post_init__(self) -> None:
        """Refuse an edge length nothing can be refined to."""
        if self.edge_mm is not None and not 0.05 <= self.edge_mm <= 1e4:
            raise InputError(
                f"Settings: edge_mm is {self.edge_mm}.", "Enter 0.05 mm or more, or leave it empty."
            )
        if not 0 <= self.seed < 2**32:
            raise InputError(f"Settings: seed is {self.seed}.", "Enter 0 to 4294967295.")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Job:
    """A mould in mm, plies with the tool side first, their cloth, stock and settings.

    `seams` (k, 2) vertex pairs of marked seam edges; `polygons` (m,) the face each triangle
    came from in the modelling program (empty: each its own); `parts` of a split mould.

    Raises
    ------
    InputError : no plies, ids used twice, unknown cloth, faces the mould does not have
    """

    part: str
    mould: MouldMesh
    plies: tuple[Ply, ...]
    rosette: Rosette
    fabrics: tuple[Fabric, ...]
    stock: Stock = field(default_factory=Stock)
    settings: Settings = field(default_factory=Settings)
    seams: Ints = field(default_factory=lambda: np.zeros((0, 2), np.int64))
    polygons: Ints = field(default_factory=lambda: np.zeros(0, np.int64))
    parts: tuple[MouldPart, ...] = ()  # of a split mould; empty: it comes off in one piece
    extras: tuple[Extra, ...] = ()  # what is cut besides the plies

    def __post_init__(self) -> None:
        """Check that the parts know each other."""
        object.__setattr__(self, "seams", frozen_ints("seams", self.seams, (None, 2)))
        object.__setattr__(self, "polygons", frozen_ints("polygons", self.polygons, (None,)))
        if not self.part.strip():
            raise InputError("The part has no name.", "Name it.")
        if not self.plies:
            raise InputError(f"Part '{self.part}' has no plies.", "Add a ply.")
        ids = [ply.id for ply in self.plies] + [extra.id for extra in self.extras]
        _refuse_doubles("Ply", ids)
        _refuse_confusable(ids)
        _refuse_long_names(
            [self.part]
            + ids
            + [name for ply in self.plies for name in (ply.name, *(c.id for c in ply.cuts))]
            + [name for fabric in self.fabrics for name in (fabric.id, fabric.name)]
            + [extra.name for extra in self.extras]
            + [part.name for part in self.parts]
            + [roll.id for roll in self.stock.rolls]
            + [offcut.id for offcut in self.stock.offcuts]
        )
        for extra in self.extras:
            self.fabric_of(extra)
            extra.faces(self.plies)
        _refuse_doubles("Cloth", [fabric.id for fabric in self.fabrics])
        for ply in self.plies:
            self.fabric_of(ply)
            if ply.faces[0] < 0 or ply.faces[-1] >= len(self.mould.faces):
                raise InputError(
                    f"Ply '{ply.name}' lies on face {ply.faces[-1]}, but the mould has "
                    f"{len(self.mould.faces)} faces.",
                    "Assign the ply's faces again.",
                )
        if len(self.seams) and not (
            0 <= self.seams.min() <= self.seams.max() < len(self.mould.vertices)
        ):
            raise InputError(
                "A seam uses a vertex the mould does not have.", "Mark the seams again."
            )
        _refuse_doubles("Mould part", [part.name for part in self.parts])
        if len(self.polygons) not in (0, len(self.mould.faces)):
            raise InputError(
                f"{len(self.polygons)} polygon numbers for {len(self.mould.faces)} faces.",
                "Write the job again from the mould.",
            )

    def fabric_of(self, ply: Ply | Extra) -> Fabric:
        """Return the cloth of a ply or an extra.

        Raises
        ------
        InputError : the job has no cloth of that id
        """
        for fabric in self.fabrics:
            if fabric.id == ply.fabric:
                return fabric
        raise InputError(
            f"{'Ply ' if isinstance(ply, Ply) else ''}'{ply.name}' asks for cloth "
            f"'{ply.fabric}', which is not in the job.",
            "Choose a cloth from the library.",
        )

    @property
    def cores(self) -> tuple[CoreLayer, ...]:
        """The cores as they lift later plies."""
        return tuple(
            CoreLayer(
                ply=extra.ply,
                faces=extra.faces(self.plies),
                thickness_mm=self.fabric_of(extra).dry_thickness_mm,
            )
            for extra in self.extras
            if extra.kind == "core"
        )

    def rosette_of(self, ply: Ply) -> Rosette:
        """Return the rosette the ply's angle is counted from."""
        return ply.rosette or self.rosette

    @property
    def digest(self) -> str:
        """SHA-256 over every input: a result that carries another one is out of date."""
        data, arrays = _parts(self)
        sums = hashlib.sha256(_text(data))
        for name in sorted(arrays):
            array = np.ascontiguousarray(arrays[name])
            sums.update(f"{name} {array.dtype.str} {array.shape}".encode())
            sums.update(array.tobytes())
        return sums.hexdigest()

    def __eq__(self, other: object) -> bool:
        """Two jobs are equal when all their inputs are."""
        return isinstance(other, Job) and self.digest == other.digest

    def __hash__(self) -> int:
        """Hash of the inputs."""
        return hash(self.digest)


def save_job(job: Job, folder: Path, *, small: bool = True) -> None:
    """Write the job folder: `job.json` and `arrays.npz`, each whole or not at all.

    `small` packs the arrays, which takes ten times as long: not where a window waits.

    Raises
    ------
    InputError : the folder cannot be written
    """
    data, arrays = _parts(job)
    packed = io.BytesIO()
    (np.savez_compressed if small else np.savez)(packed, **arrays)
    data["arrays"] = hashlib.sha256(packed.getvalue()).hexdigest()
    contents = {ARRAY_FILE: packed.getvalue(), JOB_FILE: _text(data)}
    if len(contents[JOB_FILE]) > MOST_JSON_BYTES:  # it could not be read back
        raise InputError(
            f"The job's text would fill {len(contents[JOB_FILE]) / 2**20:.0f} MB.",
            "Use fewer plies, cuts or offcuts.",
        )
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, content in contents.items():  # both, before either takes its place
            with (folder / f".{name}.new").open("wb") as fresh:
                fresh.write(content)
                fresh.flush()
                os.fsync(fresh.fileno())
        for name in contents:
            os.replace(folder / f".{name}.new", folder / name)
    except OSError as error:
        for name in contents:
            with contextlib.suppress(OSError):
                (folder / f".{name}.new").unlink(missing_ok=True)
        raise InputError(
            f"The job folder '{folder}' cannot be written: {error.strerror}.",
            "Choose a folder you may write to.",
        ) from error


def load_job(folder: Path) -> Job:
    """Read a job folder back; equal to the job that was saved.

    Raises
    ------
    InputError : missing, damaged, too large, of a newer version, or with unknown fields
    """
    data = _read_json(folder / JOB_FILE)
    arrays = read_arrays(folder / ARRAY_FILE)
    _refuse_mixed(folder, data.pop("arrays", None))
    if data.pop("format", None) != FORMAT:
        raise InputError(f"'{folder / JOB_FILE}' is not a job.", "Choose a job folder.")
    version = data.pop("version", None)
    if not isinstance(version, int) or isinstance(version, bool) or version < 1:
        raise InputError(f"The job's version is {version!r}.", "Write the job again.")
    if version > VERSION:
        raise InputError(
            f"The job was written by a newer version ({version}; this one reads {VERSION}).",
            "Update mouldply.",
        )
    plies = data.pop("plies", None)
    if not isinstance(plies, list) or len(plies) > MOST_PLIES:
        raise InputError("The job's plies are not a list of at most 500.", "Write the job again.")
    read = from_plain(_JobText, data, "job")
    job = Job(
        part=read.part,
        mould=MouldMesh(_array(arrays, "vertices"), _array(arrays, "faces")),
        plies=tuple(_read_ply(i, plain, arrays) for i, plain in enumerate(plies)),
        rosette=read.rosette,
        fabrics=read.fabrics,
        stock=read.stock,
        settings=read.settings,
        extras=read.extras,
        seams=_array(arrays, "seams"),
        polygons=_array(arrays, "polygons"),
        parts=tuple(
            replace(part, faces=_array(arrays, f"part{number}"))
            for number, part in enumerate(read.parts)
        ),
    )
    if arrays:  # each was taken out as it was read
        raise InputError(
            f"'{ARRAY_FILE}' has an unknown array '{min(arrays)[:60]}'.",
            "Write the job again; a newer version of the program may have written it.",
        )
    return job


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _JobText:
    """The part of a job that is text."""

    part: str
    rosette: Rosette
    fabrics: tuple[Fabric, ...]
    stock: Stock = field(default_factory=Stock)
    settings: Settings = field(default_factory=Settings)
    parts: tuple[MouldPart, ...] = ()  # without their faces
    extras: tuple[Extra, ...] = ()


def _refuse_mixed(folder: Path, wanted: Any) -> None:
    """Refuse the text of one job beside the arrays of another: killed in the midst of saving."""
    if wanted is None:  # written by hand, or before version 1 had this
        return
    with (folder / ARRAY_FILE).open("rb") as content:
        if hashlib.file_digest(content, "sha256").hexdigest() != wanted:
            raise InputError(
                f"'{JOB_FILE}' and '{ARRAY_FILE}' in '{folder}' do not belong together.",
                "Write the job again.",
            )


def _text(data: Mapping[str, Any]) -> bytes:
    return (json.dumps(data, indent=1, ensure_ascii=False, allow_nan=False) + "\n").encode()


def _parts(job: Job) -> tuple[dict[str, Any], dict[str, Floats | Ints]]:
    """Return the job's plain values and its arrays."""
    arrays: dict[str, Floats | Ints] = {
        "vertices": job.mould.vertices,
        "faces": job.mould.faces,
        "seams": job.seams,
        "polygons": job.polygons,
    }
    plies = []
    for number, ply in enumerate(job.plies):
        plain = to_plain(ply)
        del plain["faces"]  # long: goes with the arrays
        plies.append(plain)
        arrays[f"ply{number}"] = ply.faces
    arrays |= {f"part{number}": part.faces for number, part in enumerate(job.parts)}
    text = _JobText(
        part=job.part,
        rosette=job.rosette,
        fabrics=job.fabrics,
        stock=job.stock,
        settings=job.settings,
        parts=tuple(replace(part, faces=NO_FACES) for part in job.parts),
        extras=job.extras,
    )
    data = {"format": FORMAT, "version": VERSION, **to_plain(text), "plies": plies}
    return data, arrays


def _read_ply(number: int, plain: Any, arrays: dict[str, Any]) -> Ply:
    where = f"job, ply {number + 1}"
    if not isinstance(plain, dict) or "faces" in plain:
        raise InputError(f"{where} is not a ply.", "Write the job again.")
    faces = _array(arrays, f"ply{number}")
    if not len(faces):
        raise InputError(f"{where} has no faces.", "Assign the ply's faces again.")
    ply = from_plain(Ply, {**plain, "faces": [0]}, where)
    return replace(ply, faces=faces)


def _read_json(file: Path) -> dict[str, Any]:
    try:
        data = read_json(file, MOST_JSON_BYTES)
    except OSError as error:
        raise InputError(
            f"'{file}' cannot be read: {error.strerror or error}.", "Choose a job folder."
        ) from error
    except ValueError as error:
        raise InputError(f"'{file}' is damaged: {error}.", "Write the job again.") from error
    if not isinstance(data, dict):
        raise InputError(f"'{file}' is not a job.", "Choose a job folder.")
    return data


def _array(arrays: dict[str, Any], name: str) -> Any:
    """Take an array out: what is left at the end is none of a job's."""
    if name not in arrays:
        raise InputError(f"'{ARRAY_FILE}' lacks the array '{name}'.", "Write the job again.")
    return arrays.pop(name)


def _refuse_doubles(what: str, ids: list[str]) -> None:
    doubles = sorted({name for name in ids if ids.count(name) > 1})
    if doubles:
        raise InputError(f"{what} id '{doubles[0]}' is used twice.", "Give each its own id.")


def _refuse_long_names(names: list[str]) -> None:
    """Refuse names that no label, table or line of a drawing has room for."""
    longest = max(names, key=len)
    if len(longest) > MOST_NAME:
        raise InputError(
            f"The name '{longest[:30]}…' is {len(longest)} characters long.",
            f"Shorten it to {MOST_NAME}.",
        )


def _refuse_confusable(ids: list[str]) -> None:
    """Refuse ids that would name one file or one piece twice: 'P1' and 'p1', 'p1' and 'p1-2'."""
    known = {name.casefold() for name in ids}
    for name in ids:
        root = re.sub(r"(x\d+)?(-\d+)?(-gap-\d+)?$", "", name.casefold())
        if (root != name.casefold() and root in known) or ids.count(name) < len(
            [other for other in ids if other.casefold() == name.casefold()]
        ):
            raise InputError(
                f"Ply id '{name}' reads like another ply's, or like a piece of it.",
                "Give the ply another id.",
            )
