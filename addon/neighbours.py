"""Which of a mesh's own faces lie beside each other: regions grown, shrunk, filled up to edges.

Works on Blender's polygons, whose edges are known; the engine would first have to find the edges
of its triangles, which takes longer than a window may stand still.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from . import engine, mesh_data

if TYPE_CHECKING:
    import numpy as np

TURN_EXTRA = 1e-5  # radians: normals come in single precision
ROUNDING = 1e-6  # of the chord between two such normals, at half a turn


class Neighbours:
    """Edges of a mesh in object mode with the faces beside them.

    `edges` (c,) the edge of each corner, `faces` (c,) its face; `count` (e,) faces on each edge;
    `pairs` (k, 2) the two faces of each edge that has just two, `between` (k,) that edge.
    """

    def __init__(self, mesh: Any) -> None:
        import numpy as np

        self.mesh = mesh
        self.edges = mesh_data.values_of(mesh, ".corner_edge", np.int32)
        corners = mesh_data.corner_counts(mesh)
        self.faces = np.repeat(np.arange(len(corners), dtype=np.int32), corners)
        self.count = np.bincount(self.edges, minlength=len(mesh.edges))
        first, last = (np.zeros(len(mesh.edges), np.int32) for _ in range(2))
        last[self.edges] = self.faces  # of several faces the last one written stays
        first[self.edges[::-1]] = self.faces[::-1]
        self.between = np.flatnonzero(self.count == 2)
        self.pairs = np.column_stack([first[self.between], last[self.between]])

    def grown(self, region: np.ndarray, rows: int) -> np.ndarray:
        """Return (faces,) bool: the region and, `rows` times, the faces that share an edge."""
        import numpy as np

        inside = region.copy()
        for _ in range(rows):
            touched = np.zeros(len(self.count), bool)
            touched[self.edges[inside[self.faces]]] = True
            inside[self.faces[touched[self.edges]]] = True
        return inside

    def shrunk(self, region: np.ndarray, rows: int) -> np.ndarray:
        """Return (faces,) bool without the faces on the region's rim, `rows` times."""
        import numpy as np

        inside = region.copy()
        for _ in range(rows):
            held = np.bincount(self.edges[inside[self.faces]], minlength=len(self.count))
            rim = (held == 1)[self.edges] & inside[self.faces]
            inside[self.faces[rim]] = False
        return inside

    def filled(self, region: np.ndarray, angle: float, matrix: Any) -> np.ndarray:
        """Return (faces,) bool reached from the region without crossing an edge that is sharp or
        a seam, or in one face or more than two.

        `angle` in radians between the faces' normals in the world, `matrix` the object's.
        """
        import numpy as np

        normals = self._normals(matrix)
        apart = normals[self.pairs[:, 0]] - normals[self.pairs[:, 1]]
        most = 2 * np.sin(min(angle + TURN_EXTRA, np.pi) / 2) + ROUNDING  # chord of the turn
        smooth = np.einsum("ij,ij->i", apart, apart) <= most**2
        seams = mesh_data.seam_edges(self.mesh)
        if seams is not None:
            smooth &= ~seams[self.between]
        joined = engine.load("surface.joined").joined
        group = joined(len(region), self.pairs[smooth].astype(np.int64))
        reached = np.zeros(len(region), bool)
        reached[group[region]] = True
        return reached[group]

    def _normals(self, matrix: Any) -> np.ndarray:
        """Return (faces, 3) unit normals in the world."""
        import numpy as np

        flat = np.empty(3 * len(self.mesh.polygons), np.float32)
        self.mesh.polygon_normals.foreach_get("vector", flat)
        turn = np.linalg.inv(np.array(matrix.to_3x3(), np.float64)).astype(np.float32)
        normals = flat.reshape(-1, 3) @ turn  # normals go with the inverse, transposed
        return normals / np.maximum(np.linalg.norm(normals, axis=1), 1e-30)[:, None]
