"""A mesh as a shaded picture: orthographic, z-buffered, in numpy."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..arrays import Bools, Floats, Ints

LIGHTS = (((-0.45, 0.55, 0.70), 0.62), ((0.75, -0.15, 0.40), 0.22))  # direction in view, strength
AMBIENT = 0.26
SAMPLES = 2  # per pixel and axis
LARGEST_BLOCK = 64  # pixels; larger triangles are drawn one by one


@dataclass(frozen=True, slots=True, eq=False)
class View:
    """Where from the mesh is seen: rows of `axes` (3, 3) are right, up and towards the eye.

    A point p shows at `scale` * (axes[:2] @ p) + `shift`, in units of the picture.
    """

    axes: Floats
    scale: float
    shift: Floats

    def project(self, points: Floats) -> Floats:
        """Return (k, 3): place in the picture, and height towards the eye in mm."""
        seen = points @ self.axes.T
        return np.column_stack([seen[:, :2] * self.scale + self.shift, seen[:, 2]])


@dataclass(frozen=True, slots=True, eq=False)
class Picture:
    """`rgb` (h, w, 3) 0..1, top row first; `alpha` (h, w) covered; `depth` towards the eye."""

    rgb: Floats
    alpha: Floats
    depth: Floats
    view: View


def view_from(
    zero: Floats, normal: Floats, *, turn_deg: float = -18.0, height_deg: float = 52.0
) -> Floats:
    """Return the axes (3, 3) of a look at the lay-up side: 0 degrees to the right, tilted."""
    across = np.cross(normal, zero)
    turn, height = np.radians(turn_deg), np.radians(height_deg)
    right = np.cos(turn) * zero + np.sin(turn) * across
    away = np.cross(normal, right)
    eye = np.sin(height) * normal - np.cos(height) * away
    return np.array([right, np.cross(eye, right), eye])


def fitted_view(vertices: Floats, axes: Floats, width: float, height: float) -> View:
    """Return the view that shows all vertices (n, 3) mm centred in a picture of so many pixels."""
    seen = vertices @ axes.T
    low, high = seen[:, :2].min(axis=0), seen[:, :2].max(axis=0)
    extent = np.maximum(high - low, 1e-9)
    scale = float(min(width / extent[0], height / extent[1]))
    shift = np.array([width, height]) / 2 - scale * (low + high) / 2
    return View(axes, scale, shift)


def render(
    vertices: Floats, faces: Ints, colours: Floats, axes: Floats, width: int, height: int
) -> Picture:
    """Return the shaded picture; `colours` (m, 3) of the faces. Both sides of a face are lit."""
    size = (width * SAMPLES, height * SAMPLES)
    view = fitted_view(vertices, axes, size[0] - 4.0, size[1] - 4.0)
    view = View(axes, view.scale, view.shift + 2.0)
    corners = view.project(vertices)[faces]
    shade = _shade(vertices, faces, axes)
    depth = np.full(size[0] * size[1], -np.inf)
    owner = np.full(size[0] * size[1], -1)
    for pixels, heights, triangle in _covered(corners, size):
        _keep_nearest(depth, owner, pixels, heights, triangle)
    grid = owner.reshape(size[1], size[0])[::-1]
    lit = np.vstack([colours * shade[:, None], [[0, 0, 0]]])[grid]
    covered = (grid >= 0).astype(float)
    weight = _smaller(covered)
    rgb = _smaller(lit * covered[..., None]) / np.maximum(weight, 1e-9)[..., None]
    near = depth.reshape(size[1], size[0])[::-1]
    near = near.reshape(height, SAMPLES, width, SAMPLES).max(axis=(1, 3))
    final = View(axes, view.scale / SAMPLES, view.shift / SAMPLES)
    return Picture(np.clip(rgb, 0, 1), weight, near, final)


def visible(picture: Picture, points: Floats, slack_mm: float) -> Bools:
    """Return which points are not behind the surface by more than `slack_mm`."""
    seen = picture.view.project(points)
    height, width = picture.depth.shape
    column = np.clip(seen[:, 0].astype(int), 0, width - 1)
    row = np.clip(height - 1 - seen[:, 1].astype(int), 0, height - 1)
    return np.asarray(seen[:, 2] >= picture.depth[row, column] - slack_mm)


def _shade(vertices: Floats, faces: Ints, axes: Floats) -> Floats:
    corners = vertices[faces]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normal /= np.maximum(np.linalg.norm(normal, axis=1), 1e-12)[:, None]
    seen = normal @ axes.T
    seen *= np.where(seen[:, 2:] < 0, -1.0, 1.0)
    light = np.full(len(faces), AMBIENT)
    for direction, strength in LIGHTS:
        unit = np.array(direction) / np.linalg.norm(direction)
        light += strength * np.clip(seen @ unit, 0, None)
    return np.clip(light, 0, 1.05)


def _covered(corners: Floats, size: tuple[int, int]) -> list[tuple[Ints, Floats, Ints]]:
    """Return batches of (pixel, height, triangle) for all pixels that triangles cover."""
    low = np.clip(np.floor(corners[:, :, :2].min(axis=1)), 0, None).astype(int)
    high = np.minimum(np.ceil(corners[:, :, :2].max(axis=1)).astype(int), np.array(size) - 1)
    span = (high - low).max(axis=1) + 1
    batches = []
    block = 2
    done = np.zeros(len(corners), bool)
    while block <= LARGEST_BLOCK:
        chosen = np.flatnonzero(~done & (span <= block))
        done[chosen] = True
        for start in range(0, len(chosen), 200_000 // block**2 + 1):
            part = chosen[start : start + 200_000 // block**2 + 1]
            batches.append(_block(corners[part], part, low[part], (block, block), size))
        block *= 2
    for triangle in np.flatnonzero(~done):
        one = np.array([triangle])
        shape = tuple(int(n) for n in high[triangle] - low[triangle] + 1)
        batches.append(_block(corners[one], one, low[one], (shape[0], shape[1]), size))
    return batches


def _block(
    corners: Floats, numbers: Ints, low: Ints, shape: tuple[int, int], size: tuple[int, int]
) -> tuple[Ints, Floats, Ints]:
    x, y = np.meshgrid(np.arange(shape[0]), np.arange(shape[1]), indexing="ij")
    px = low[:, 0, None] + x.ravel()
    py = low[:, 1, None] + y.ravel()
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    double: Floats = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (
        c[:, 0] - a[:, 0]
    )
    safe = np.where(np.abs(double) < 1e-12, np.inf, double)[:, None]
    qx, qy = px + 0.5, py + 0.5

    def share(p: Floats, q: Floats) -> Floats:
        across = (q[:, 0] - p[:, 0])[:, None] * (qy - p[:, 1, None])
        along = (q[:, 1] - p[:, 1])[:, None] * (qx - p[:, 0, None])
        return np.asarray((across - along) / safe)

    of_c, of_a = share(a, b), share(b, c)
    of_b = 1 - of_a - of_c
    inside = (of_a >= -1e-9) & (of_b >= -1e-9) & (of_c >= -1e-9) & np.isfinite(safe)
    inside &= (px < size[0]) & (py < size[1])
    height = of_a * a[:, 2:] + of_b * b[:, 2:] + of_c * c[:, 2:]
    triangle = np.broadcast_to(numbers[:, None], inside.shape)
    return (py * size[0] + px)[inside], height[inside], triangle[inside]


def _keep_nearest(
    depth: Floats, owner: Ints, pixels: Ints, heights: Floats, triangle: Ints
) -> None:
    """Write into `depth` and `owner` where a triangle is nearer to the eye."""
    order = np.lexsort((heights, pixels))
    pixels, heights, triangle = pixels[order], heights[order], triangle[order]
    last = np.append(pixels[1:] != pixels[:-1], True) if len(pixels) else np.zeros(0, bool)
    pixels, heights, triangle = pixels[last], heights[last], triangle[last]
    nearer = heights > depth[pixels]
    depth[pixels[nearer]] = heights[nearer]
    owner[pixels[nearer]] = triangle[nearer]


def _smaller(image: Floats) -> Floats:
    height, width = image.shape[0] // SAMPLES, image.shape[1] // SAMPLES
    rest = image.shape[2:]
    blocks = image.reshape(height, SAMPLES, width, SAMPLES, *rest)
    mean: Floats = blocks.mean(axis=(1, 3))
    return mean
