"""Patches kept from one request to the next: a tack point that moves cuts nothing anew."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable

import numpy as np

from .cloth.fabric import Fabric
from .job import Job
from .laminate.ply import Ply
from .lay import patches_of
from .records import to_plain
from .surface.mesh import MouldMesh
from .surface.patch import Patch

MOST_PLIES, MOST_FACES = 4, 400_000  # that are kept: some 100 MB
# What says how the cloth is laid on its patch, not which patch that is.
OF_THE_DRAPE = ("faces", "tack_mm", "angle_deg", "method")
Cutter = Callable[[Job, Ply, Fabric, MouldMesh], list[Patch]]


class KeptPatches:
    """Does what `make` does, `patches_of` if None; hands out what it cut last again.

    With them comes what was worked out of them before: edges, areas, normals.
    """

    def __init__(self, make: Cutter | None = None) -> None:
        self._make = make
        self._kept: dict[bytes, list[Patch]] = {}

    def __call__(self, job: Job, ply: Ply, fabric: Fabric, surface: MouldMesh) -> list[Patch]:
        """Return the ply's patches on `surface`, as `make` does."""
        key = _digest(job, ply, fabric, surface)
        patches = self._kept.pop(key, None)
        if patches is None:
            patches = (self._make or patches_of)(job, ply, fabric, surface)
        self._kept[key] = patches  # the last used last
        while len(self._kept) > 1 and (len(self._kept) > MOST_PLIES or self._faces() > MOST_FACES):
            del self._kept[next(iter(self._kept))]
        return patches

    def _faces(self) -> int:
        return sum(len(patch.surface.faces) for kept in self._kept.values() for patch in kept)


def _digest(job: Job, ply: Ply, fabric: Fabric, surface: MouldMesh) -> bytes:
    """Return a digest of all that patches depend on."""
    plain = {key: value for key, value in to_plain(ply).items() if key not in OF_THE_DRAPE}
    facts = [plain, to_plain(fabric), to_plain(job.settings.dressing), job.settings.edge_mm]
    digest = hashlib.sha256(json.dumps(facts).encode())
    for array in (job.mould.vertices, job.mould.faces, job.seams, ply.faces, surface.vertices):
        digest.update(str(array.shape).encode() + np.ascontiguousarray(array).tobytes())
    return digest.digest()
