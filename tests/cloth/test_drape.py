"""The drape against closed forms."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from shapes import cap, sheet

from flatten.cloth.drape import drape_surface
from flatten.cloth.library import load_fabrics
from flatten.errors import InputError
from flatten.surface.mesh import SurfaceMesh

TWILL = load_fabrics()["carbon_twill_210"]


def test_quarter_cylinder_develops_to_the_length_of_its_facets():
    """A prism unrolls exactly: its width is the sum of the chords."""
    u = np.linspace(0, np.pi / 2, 17)
    mesh = sheet(lambda a, y: (50 * np.sin(a), y, 50 * np.cos(a)), u, np.linspace(0, 200, 21))

    drape = drape_surface(
        mesh, TWILL, tack_mm=(50 * np.sin(0.7), 99, 50 * np.cos(0.7)), warp=(0, 1, 0)
    )

    width, length = np.ptp(drape.flat[:, 1]), np.ptp(drape.flat[:, 0])
    assert width == pytest.approx(16 * 100 * np.sin(np.pi / 64), abs=1e-6)
    assert length == pytest.approx(200, abs=1e-6)
    assert_allclose(drape.strain, 0, atol=1e-7)


def test_hemisphere_reaches_the_known_net():
    """Great circles as seed threads: bias shear 52.425 degrees at the equator, outline 1.5708 R
    on the threads and 1.3866 R on the bias (Chebyshev net of the sphere, integrated)."""
    mesh = cap(150, 90, 48)

    drape = drape_surface(mesh, TWILL, tack_mm=(0, 0, 150), warp=(1, 0, 0))

    rim = np.unique(mesh.edges.vertices[mesh.edges.boundary])
    r, phi = np.hypot(*drape.flat[rim].T) / 150, np.arctan2(*drape.flat[rim].T[::-1])
    assert r[np.abs(phi).argmin()] == pytest.approx(np.pi / 2, abs=1e-3)
    assert r[np.abs(phi - np.pi / 4).argmin()] == pytest.approx(1.3866, abs=1e-3)
    assert np.degrees(np.abs(drape.strain[:, 2]).max()) == pytest.approx(52.425, abs=0.2)
    assert drape.converged


def test_a_closed_surface_is_refused():
    faces = [[0, 2, 1], [0, 1, 3], [1, 2, 3], [2, 0, 3]]
    mesh = SurfaceMesh([[0, 0, 0], [9, 0, 0], [0, 9, 0], [0, 0, 9]], faces)

    with pytest.raises(InputError, match="closed"):
        drape_surface(mesh, TWILL, tack_mm=(1, 1, 0), warp=(1, 0, 0))
