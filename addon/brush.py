"""A brush on a mould: which faces a stroke touches, and what is shown of it. Changes nothing.

A face is touched where its middle lies within the brush and it does not look the other way: a
corner is painted round, the far side of a thin wall is not.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import bpy

if TYPE_CHECKING:
    import numpy as np

LOOKS_AWAY = -0.35  # cosine: faces turned further from the one under the mouse are another side
LIFT = 0.002  # of the mould's size: the colour floats above the faces by this
COLOUR = (0.36, 0.62, 0.98, 0.45)
RING, RING_OFF = (0.97, 0.97, 0.95, 1.0), (1.0, 0.62, 0.2, 1.0)
RING_SIDES = 48


class Faces:
    """A mould's own faces in its own space: what a brush needs of them, read once."""

    def __init__(self, mesh: Any) -> None:
        """Read a mesh in object mode."""
        import numpy as np

        from . import mesh_data

        count = len(mesh.polygons)
        flat = np.empty(3 * count, np.float32)
        mesh.polygons.foreach_get("center", flat)
        self.middles = flat.reshape(-1, 3).copy()
        mesh.polygons.foreach_get("normal", flat)
        self.normals = flat.reshape(-1, 3).copy()
        self.hidden = np.zeros(count, bool)
        mesh.polygons.foreach_get("hide", self.hidden)
        self.points = mesh_data.values_of(mesh, "position", np.float32, 3)
        self.vertex_normals = np.empty_like(self.points)
        mesh.vertex_normals.foreach_get("vector", self.vertex_normals.ravel())
        self.triangles, self.polygons = mesh_data.triangles_of(mesh, mirrored=False)

    def nearest(self, place: Any) -> int:
        """Return the face whose middle is nearest to a point."""
        import numpy as np

        return int(((self.middles - np.asarray(place, np.float32)) ** 2).sum(axis=1).argmin())

    def touched(self, place: Any, normal: Any, radius: float, under: int) -> np.ndarray:
        """Return (faces,) bool of those a brush at a point touches; `under` the mouse always is."""
        import numpy as np

        away = self.middles - np.asarray(place, np.float32)
        found = np.einsum("ij,ij->i", away, away) <= radius**2
        found &= self.normals @ np.asarray(normal, np.float32) > LOOKS_AWAY
        found &= ~self.hidden
        found[under] = not self.hidden[under]
        return found


class Picture:
    """The painted faces in colour on the mould, and the brush's ring at the mouse."""

    def __init__(self, mould: bpy.types.Object, faces: Faces) -> None:
        """Start drawing in every 3D view."""
        self.mould, self.faces = mould.name, faces
        self.region: np.ndarray | None = None
        self.ring: tuple[float, float, float] | None = None  # x, y, radius in pixels
        self.off = False
        self._batch: Any = None
        self._raised: Any = None
        add = bpy.types.SpaceView3D.draw_handler_add
        self._handles = [
            add(self._draw_faces, (), "WINDOW", "POST_VIEW"),
            add(self._draw_ring, (), "WINDOW", "POST_PIXEL"),
        ]

    def show(self, region: np.ndarray) -> None:
        """Show these faces, (faces,) bool."""
        self.region, self._batch = region.copy(), None

    def close(self) -> None:
        """Stop drawing."""
        for handle in self._handles:
            bpy.types.SpaceView3D.draw_handler_remove(handle, "WINDOW")
        self._handles = []

    def _draw_faces(self) -> None:
        import gpu

        mould = bpy.data.objects.get(self.mould)
        if mould is None or self.region is None:
            return
        shader = gpu.shader.from_builtin("UNIFORM_COLOR")
        if self._batch is None:
            self._batch = self._make_batch(shader)
        gpu.state.blend_set("ALPHA")
        gpu.state.depth_test_set("LESS_EQUAL")
        gpu.matrix.push()
        gpu.matrix.multiply_matrix(mould.matrix_world)
        try:
            shader.uniform_float("color", COLOUR)
            self._batch.draw(shader)
        finally:
            gpu.matrix.pop()
            gpu.state.depth_test_set("NONE")
            gpu.state.blend_set("NONE")

    def _make_batch(self, shader: Any) -> Any:
        from gpu_extras.batch import batch_for_shader

        assert self.region is not None
        if self._raised is None:
            self._raised = self._raise()
        chosen = self._raised[self.region[self.faces.polygons]].reshape(-1, 3)
        return batch_for_shader(shader, "TRIS", {"pos": chosen})

    def _raise(self) -> np.ndarray:
        """Return (triangles, 3, 3) the corners a little off the surface."""
        import numpy as np

        size = float(np.linalg.norm(np.ptp(self.faces.points, axis=0)))
        raised = self.faces.points + LIFT * size * self.faces.vertex_normals
        return raised[self.faces.triangles].astype(np.float32)

    def _draw_ring(self) -> None:
        import gpu
        import numpy as np
        from gpu_extras.batch import batch_for_shader

        if self.ring is None:
            return
        x, y, radius = self.ring
        turn = np.linspace(0, 2 * np.pi, RING_SIDES + 1)
        points = np.column_stack([x + radius * np.cos(turn), y + radius * np.sin(turn), 0 * turn])
        shader = gpu.shader.from_builtin("POLYLINE_UNIFORM_COLOR")
        shader.uniform_float("viewportSize", gpu.state.viewport_get()[2:])
        shader.uniform_float("lineWidth", 1.5)
        shader.uniform_float("color", RING_OFF if self.off else RING)
        gpu.state.blend_set("ALPHA")
        batch_for_shader(shader, "LINE_STRIP", {"pos": points.astype(np.float32)}).draw(shader)
        gpu.state.blend_set("NONE")
