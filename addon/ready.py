"""A finished answer made ready for the file: read, and laid on the mould's own polygons.

Knows no Blender, so that a thread may do it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from .bridge import NO_VALUE

if TYPE_CHECKING:
    import numpy as np

    from .bridge import MouldRead, MouldTaken


@dataclass(frozen=True, slots=True, eq=False)
class Ready:
    """`polygons` (m,) the mould's own polygon under each triangle of the job, None where the mould
    has been changed meanwhile; `maps` name -> (polygons,) values, NO_VALUE where there are none.
    """

    answer: Any
    polygons: np.ndarray | None
    maps: dict[str, np.ndarray]


def make_ready(answer: Any, taken: MouldTaken, own: MouldTaken | None) -> Ready:
    """Return an answer with what it says of the mould's own polygons.

    `taken` is the mould as its modifiers leave it, `own` without them where that differs.
    """
    if "triangles" not in answer.facts:  # a tack point, or cuts proposed
        return Ready(answer, None, {})
    read = taken.read()
    if len(read.triangles) != answer.facts["triangles"]:
        return Ready(answer, None, {})
    if own is None:
        maps = {name: _least(read, values) for name, values in answer.maps().items()}
        return Ready(answer, read.polygons, maps)
    bare = own.read()
    below = bare.nearest(read.middles())
    above = read.polygons[read.nearest(_polygon_middles(bare))]
    maps = {name: _least(read, values)[above] for name, values in answer.maps().items()}
    return Ready(answer, bare.polygons[below], maps)


def _least(read: MouldRead, values: np.ndarray) -> np.ndarray:
    """Return (polygons,) the least value of each polygon's triangles.

    A map shows the worst place of draft, radius and wall.
    """
    import numpy as np

    known = np.isfinite(values)
    least = np.full(read.polygon_count, np.inf)
    np.minimum.at(least, read.polygons[known], values[known])
    return np.where(np.isfinite(least), least, NO_VALUE)


def _polygon_middles(read: MouldRead) -> np.ndarray:
    """Return (polygons, 3) mm: the middle of each polygon's triangles."""
    import numpy as np

    count = np.maximum(np.bincount(read.polygons, minlength=read.polygon_count), 1)
    sums = [
        np.bincount(read.polygons, axis, minlength=read.polygon_count) for axis in read.middles().T
    ]
    return np.column_stack(sums) / count[:, None]
