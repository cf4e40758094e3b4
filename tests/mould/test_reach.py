"""Can hands and tools get in: boxes and slots whose answer is read off a drawing."""

import numpy as np
import pytest
from mould.moulds import any_turn, bowl, box, frustum, moved

from flatten.mould.reach import check_reach, measure_reach
from flatten.mould.settings import MouldSettings
from flatten.surface.mesh import MouldMesh

UP = np.array([0.0, 0.0, 1.0])


def block(depth, length, width, *, flange=40, floor=10):
    """A block with a rectangular pocket, open above; and its lay-up faces."""
    x = np.array([-flange, 0, length, length + flange])
    y = np.array([-flange, 0, width, width + flange])
    points, faces, layup = [], [], []

    def quad(*corners):
        start = len(points)
        points.extend(corners)
        faces.extend([[start, start + 1, start + 2], [start, start + 2, start + 3]])

    for i in range(3):
        for j in range(3):
            if (i, j) != (1, 1):
                quad(
                    *[
                        (a, b, 0)
                        for a, b in (
                            (x[i], y[j]),
                            (x[i + 1], y[j]),
                            (x[i + 1], y[j + 1]),
                            (x[i], y[j + 1]),
                        )
                    ]
                )
    inner = [(0, 0), (length, 0), (length, width), (0, width)]
    outer = [(x[0], y[0]), (x[3], y[0]), (x[3], y[3]), (x[0], y[3])]
    first = len(faces)
    quad(*[(*c, -depth) for c in inner])
    for a, b in zip(inner, inner[1:] + inner[:1], strict=True):
        quad((*b, -depth), (*a, -depth), (*a, 0), (*b, 0))
    layup = np.arange(first, len(faces))
    low = -depth - floor
    quad(*[(*c, low) for c in outer[::-1]])
    for a, b in zip(outer, outer[1:] + outer[:1], strict=True):
        quad((*a, low), (*b, low), (*b, 0), (*a, 0))
    points = np.array(points, float)
    points, name = np.unique(points, axis=0, return_inverse=True)
    return MouldMesh(points, name.ravel()[np.array(faces)]), layup


def test_depth_and_opening_of_a_pocket():
    mesh, layup = block(80, 200, 60)

    reach = measure_reach(mesh, layup, UP, MouldSettings())

    assert reach.depth_mm == pytest.approx(80)
    assert reach.opening_mm == pytest.approx(60, rel=1e-9)
    assert reach.ratio == pytest.approx(80 / 60)
    assert [f.code for f in check_reach(reach, layup, MouldSettings())] == ["deep"]
    assert check_reach(reach, layup, MouldSettings(deep_ratio=1.4)) == []


def test_a_bowl_is_half_as_deep_as_wide():
    reach = measure_reach(*_whole(bowl(100, 90)), UP, MouldSettings())
    assert reach.ratio == pytest.approx(0.5, rel=0.002)  # 64 segments


def test_a_mould_the_cloth_is_laid_over_has_no_depth():
    mesh = bowl(100, 80)
    dome = MouldMesh(mesh.vertices * [1, 1, -1], mesh.faces[:, ::-1])
    assert np.mean(dome.normals[:, 2]) < 0  # looks inwards still
    dome = MouldMesh(dome.vertices, dome.faces[:, ::-1])

    assert measure_reach(*_whole(dome), UP, MouldSettings()).ratio == 0


@pytest.mark.parametrize(
    ("width", "codes"), [(10, {"no_brush", "no_roller"}), (20, {"no_roller"}), (36, set())]
)
def test_tools_wider_than_a_slot_do_not_reach_its_floor(width, codes):
    """Brush 12 mm, roller 30 mm; a slot 40 mm deep; map cells of about 1.6 mm."""
    mesh, layup = block(40, 120, width)
    settings = MouldSettings(deep_ratio=100)

    reach = measure_reach(mesh, layup, UP, settings)
    found = {f.code: f for f in check_reach(reach, layup, settings)}

    assert set(found) == codes
    floor = layup[mesh.normals[layup, 2] > 0.5]
    for finding in found.values():
        assert set(floor.tolist()) <= set(finding.faces)
        assert "40 mm off" in finding.message


@pytest.mark.parametrize(("flange", "short"), [(10, True), (14, True), (16, False), (40, False)])
def test_flange_against_the_trim(flange, short):
    mesh, layup = block(30, 150, 100, flange=flange)
    settings = MouldSettings(trim_mm=15)

    reach = measure_reach(mesh, layup, UP, settings)

    codes = [f.code for f in check_reach(reach, layup, settings)]
    assert ("narrow_flange" in codes) == short
    if short:
        assert reach.flange_mm == pytest.approx(flange, abs=0.51)  # walked in steps of 0.5 mm


def test_the_edge_of_a_skin_has_no_flange():
    reach = measure_reach(*_whole(frustum(60, 90, 50)), UP, MouldSettings())
    assert reach.flange_mm == 0
    assert len(reach.short)


@pytest.mark.parametrize("seed", range(3))
def test_turning_the_mould_with_its_pull_changes_nothing(seed):
    mesh, layup = block(80, 200, 60)
    turn = any_turn(seed)

    reach = measure_reach(moved(mesh, turn, (9, 8, 7)), layup, turn @ UP, MouldSettings())

    assert reach.depth_mm == pytest.approx(80)
    assert reach.opening_mm == pytest.approx(60, abs=1e-3)


def test_a_plug_on_a_plate_is_within_reach_everywhere():
    plug = box([0, 0, 0], [60, 60, 40])
    layup = np.flatnonzero(plug.normals[:, 2] > -0.5)
    reach = measure_reach(plug, layup, UP, MouldSettings())
    assert check_reach(reach, layup, MouldSettings(trim_mm=0)) == []


def _whole(mesh):
    return mesh, np.arange(len(mesh.faces))
