"""Stand-ins for patches and drapes whose flat shape is known without a solver."""

from dataclasses import dataclass, field

import numpy as np

from flatten.cloth.fabric import Fabric
from flatten.pattern.marks import text_box_mm
from flatten.pattern.place import box_at
from flatten.surface.mesh import SurfaceMesh

TWILL = Fabric(
    id="twill",
    name="Glass 2x2 twill 280",
    kind="weave",
    areal_weight_gsm=280,
    fibre_density_g_cm3=2.55,
    dry_thickness_mm=0.25,
    roll_width_mm=1000,
    shear_warn_deg=40,
    shear_lock_deg=50,
    balanced=True,
)


def mark_box(mark):
    """The box a mark's text takes, turned as it is; a dart's end is a small square."""
    width, height = text_box_mm(mark.lines or ("x",), mark.height_mm)
    return box_at(mark.at, width, height, mark.turn_deg)


@dataclass
class Piece:
    """A patch: the fields the pattern layer reads."""

    surface: SurfaceMesh
    inside: np.ndarray
    edge_vertices: np.ndarray
    edge_kinds: tuple
    edge_joints: np.ndarray
    source_faces: np.ndarray
    joints: tuple = ()


@dataclass
class Laid:
    """A drape: flat coordinates and strain."""

    flat: np.ndarray
    strain: np.ndarray = field(default=None)

    def __post_init__(self):
        if self.strain is None:
            self.strain = np.zeros((1, 3))


def piece(vertices, faces, *, inside=None, kind_of=lambda a, b: ("trim", -1)):
    """A patch of triangles; `kind_of` (3D start, 3D end) gives a border edge's kind and joint."""
    surface = SurfaceMesh(vertices, faces)
    faces = surface.faces
    half = {(int(f[i]), int(f[(i + 1) % 3])) for f in faces for i in range(3)}
    border = np.array(sorted(edge for edge in half if edge[::-1] not in half))
    told = [kind_of(surface.vertices[a], surface.vertices[b]) for a, b in border]
    return Piece(
        surface=surface,
        inside=np.ones(len(faces), bool) if inside is None else np.asarray(inside, bool),
        edge_vertices=border,
        edge_kinds=tuple(kind for kind, _ in told),
        edge_joints=np.array([joint for _, joint in told]),
        source_faces=np.arange(len(faces)),
    )


def laid(patch, flat=None):
    """A drape without strain; flat None: x and y of the surface as they are."""
    flat = patch.surface.vertices[:, :2] if flat is None else flat
    return Laid(np.array(flat, float), np.zeros((len(patch.surface.faces), 3)))


def grid(xs, ys):
    """Vertices (n, 3) at z 0 and faces of a rectangular grid, counter-clockwise."""
    x, y = np.meshgrid(xs, ys)
    vertices = np.column_stack([x.ravel(), y.ravel(), 0 * x.ravel()])
    k, rows = len(xs), len(ys)
    a = (np.arange(rows - 1)[:, None] * k + np.arange(k - 1)).ravel()
    faces = np.concatenate(
        [np.column_stack([a, a + 1, a + k + 1]), np.column_stack([a, a + k + 1, a + k])]
    )
    return vertices, faces
