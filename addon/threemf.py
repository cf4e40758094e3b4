"""3MF: a zip with an XML model inside. Source: 3MF Core Specification 1.3, chapters 2 to 4."""

from __future__ import annotations

import zipfile
from pathlib import Path
from typing import TYPE_CHECKING
from xml.etree import ElementTree

from . import engine

if TYPE_CHECKING:
    import numpy as np

MM = {"micron": 0.001, "millimeter": 1.0, "centimeter": 10.0, "inch": 25.4, "foot": 304.8,
      "meter": 1000.0}  # fmt: skip
MOST_BYTES = 2 * 2**30
CORE = "{http://schemas.microsoft.com/3dmanufacturing/core/2015/02}"


def read_3mf(file: Path) -> tuple[np.ndarray, np.ndarray]:
    """Return (n, 3) vertices in mm and (m, 3) triangles of every object that is built.

    Raises
    ------
    InputError : not a 3MF, too large, or without triangles
    """
    import numpy as np

    error = engine.load("errors").InputError
    try:
        with zipfile.ZipFile(file) as packed:
            name = next(n for n in packed.namelist() if n.lower().endswith(".model"))
            if packed.getinfo(name).file_size > MOST_BYTES:
                raise error(f"'{file.name}' is larger than 2 GB.", "Export a coarser mesh.")
            text = packed.read(name)
        if b"<!DOCTYPE" in text[:2000]:  # 3MF forbids it; entities could blow up
            raise error(f"'{file.name}' carries a document type.", "Export it again.")
        model = ElementTree.fromstring(text)
    except (zipfile.BadZipFile, StopIteration, ElementTree.ParseError, OSError) as wrong:
        raise error(f"'{file.name}' is not a 3MF file.", "Export it again.") from wrong
    scale = MM.get(model.get("unit", "millimeter"), 1.0)
    objects = {one.get("id"): one for one in model.iter(f"{CORE}object")}
    points, faces, count = [], [], 0
    for item in model.iter(f"{CORE}item"):
        for part, matrix in _parts(objects, item.get("objectid"), _matrix(item), 0):
            own = np.array(
                [[float(v.get(axis)) for axis in "xyz"] for v in part.iter(f"{CORE}vertex")]
            ).reshape(-1, 3)
            points.append((own @ matrix[:3] + matrix[3]) * scale)
            corners = [
                [int(t.get(v)) for v in ("v1", "v2", "v3")] for t in part.iter(f"{CORE}triangle")
            ]
            faces.append(np.array(corners, np.int64).reshape(-1, 3) + count)
            count += len(own)
    if not faces or not sum(len(f) for f in faces):
        raise error(f"'{file.name}' holds no triangles.", "Export it again as a mesh.")
    return np.concatenate(points), np.concatenate(faces)


def _parts(objects, name, matrix, depth):
    """Yield each mesh under an object with its (4, 3) row-vector matrix."""
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
        yield from _parts(objects, one.get("objectid"), whole, depth + 1)


def _matrix(element):
    """Return the element's transform as (4, 3): p' = p @ m[:3] + m[3]."""
    import numpy as np

    text = element.get("transform")
    if text is None:
        return np.vstack([np.eye(3), np.zeros(3)])
    return np.array([float(word) for word in text.split()]).reshape(4, 3)
