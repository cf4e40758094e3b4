"""3MF: a zip with an XML model inside. Source: 3MF Core Specification 1.3, chapters 2 to 4."""

from __future__ import annotations

import re
import zipfile
import zlib
from pathlib import Path
from typing import TYPE_CHECKING
from xml.etree import ElementTree

from . import engine

if TYPE_CHECKING:
    import numpy as np

MM = {"micron": 0.001, "millimeter": 1.0, "centimeter": 10.0, "inch": 25.4, "foot": 304.8,
      "meter": 1000.0}  # fmt: skip
# Some three million triangles; as elements, XML takes sixteen times its own size in memory.
MOST_BYTES = 200 * 2**20
MOST_PARTS, MOST_FACES = 10_000, 5_000_000
_DAMAGED = (
    zipfile.BadZipFile, zlib.error, StopIteration, ElementTree.ParseError, OSError, RuntimeError,
    NotImplementedError, EOFError, ValueError, TypeError, OverflowError, LookupError,
)  # fmt: skip
CORE = "{http://schemas.microsoft.com/3dmanufacturing/core/2015/02}"


def read_3mf(file: Path) -> tuple[np.ndarray, np.ndarray]:
    """Return (n, 3) vertices in mm and (m, 3) triangles of every object that is built.

    Raises
    ------
    InputError : not a 3MF, too large, or without triangles
    """
    error = engine.load("errors").InputError
    try:
        with zipfile.ZipFile(file) as packed:
            name = next(n for n in packed.namelist() if n.lower().endswith(".model"))
            if packed.getinfo(name).file_size > MOST_BYTES:
                raise error(f"'{file.name}' is larger than 200 MB.", "Export a coarser mesh.")
            if packed.getinfo(name).compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
                raise error(f"'{file.name}' is packed in an unknown way.", "Export it again.")
            text = packed.read(name)
        if re.search(rb"<\0?!\0?D\0?O\0?C", text):  # 3MF forbids it; entities could blow up
            raise error(f"'{file.name}' carries a document type.", "Export it again.")
        model = ElementTree.fromstring(text)
        points, faces = _built(model)
    except _DAMAGED as wrong:
        raise error(
            f"'{file.name}' is damaged or not a 3MF file: {wrong}.", "Export it again."
        ) from wrong
    if not len(faces):
        raise error(f"'{file.name}' holds no triangles.", "Export it again as a mesh.")
    return points, faces


def _built(model):
    """Return vertices and triangles of all that is built; ValueError where there is too much."""
    import numpy as np

    scale = MM.get(model.get("unit", "millimeter"), 1.0)
    objects = {one.get("id"): one for one in model.iter(f"{CORE}object")}
    points, faces, count, steps = [], [], 0, iter(range(MOST_PARTS))
    for item in model.iter(f"{CORE}item"):
        for part, matrix in _parts(objects, item.get("objectid"), _matrix(item), 0, steps):
            if sum(map(len, faces)) > MOST_FACES:
                raise ValueError(f"more than {MOST_FACES} triangles")
            own = np.array(
                [[float(v.get(axis)) for axis in "xyz"] for v in part.iter(f"{CORE}vertex")]
            ).reshape(-1, 3)
            with np.errstate(all="ignore"):
                points.append((own @ matrix[:3] + matrix[3]) * scale)
            corners = [
                [int(t.get(v)) for v in ("v1", "v2", "v3")] for t in part.iter(f"{CORE}triangle")
            ]
            faces.append(np.array(corners, np.int64).reshape(-1, 3) + count)
            count += len(own)
    if not faces:
        return np.zeros((0, 3)), np.zeros((0, 3), np.int64)
    whole, corners = np.concatenate(points), np.concatenate(faces)
    if not np.isfinite(whole).all() or (corners < 0).any() or (corners >= count).any():
        raise ValueError("numbers that are not finite, or corners that are not there")
    return whole, corners


def _parts(objects, name, matrix, depth, steps):
    """Yield each mesh under an object with its (4, 3) row-vector matrix.

    `steps` is used up by all objects together, one each: a few can name each other into billions.
    """
    if next(steps, None) is None:
        raise ValueError(f"more than {MOST_PARTS} parts")
    found = objects.get(name)
    if found is None or depth > 16:
        return
    mesh = found.find(f"{CORE}mesh")
    if mesh is not None:
        yield mesh, matrix
    import numpy as np

    for one in found.iter(f"{CORE}component"):
        own = _matrix(one)
        whole = np.vstack([own[:3] @ matrix[:3], own[3] @ matrix[:3] + matrix[3]])
        yield from _parts(objects, one.get("objectid"), whole, depth + 1, steps)


def _matrix(element):
    """Return the element's transform as (4, 3): p' = p @ m[:3] + m[3]."""
    import numpy as np

    text = element.get("transform")
    if text is None:
        return np.vstack([np.eye(3), np.zeros(3)])
    return np.array([float(word) for word in text.split()]).reshape(4, 3)
