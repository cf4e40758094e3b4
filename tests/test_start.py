"""A job from a bare STL: the region grows from the cavity's floor, not over the block."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from sample_jobs import TWILL, dish

from flatten.__main__ import main
from flatten.cloth.library import load_fabrics
from flatten.errors import InputError
from flatten.folder import read_index
from flatten.job import load_job
from flatten.start import job_from_mesh
from flatten.surface.mesh import MouldMesh
from flatten.surface.stl import stl_bytes

CLOTH = load_fabrics()[TWILL]


def box_block():
    """A block 100 x 80 x 30 with a square pocket 60 x 40, 20 deep: each face two triangles."""

    def ring(x, y, z):
        return [[-x, -y, z], [x, -y, z], [x, y, z], [-x, y, z]]

    rings = [ring(30, 20, -20), ring(30, 20, 0), ring(50, 40, 0), ring(50, 40, -30)]
    vertices = np.array([point for one in rings for point in one], float)
    faces = [[0, 1, 2], [0, 2, 3]]
    for inner, outer in ((0, 4), (4, 8), (8, 12)):
        for a in range(4):
            b = (a + 1) % 4
            faces += [[inner + a, outer + a, outer + b], [inner + a, outer + b, inner + b]]
    faces += [[12, 14, 13], [12, 15, 14]]
    return MouldMesh(vertices, faces)


def test_the_region_is_what_a_look_from_above_meets_first():
    job = job_from_mesh(box_block(), CLOTH, part="pocket", angles_deg=(0, 45))

    assert job.plies[0].faces.tolist() == [0, 1]  # the pocket's floor, ended by its walls
    assert [ply.angle_deg for ply in job.plies] == [0, 45]
    assert_allclose(job.rosette.normal, [0, 0, 1])
    assert_allclose(job.rosette.zero, [1, 0, 0])


def test_a_wide_angle_takes_the_walls_along_up_to_all_of_a_closed_block():
    with pytest.raises(InputError, match="faces all ways alike"):
        job_from_mesh(box_block(), CLOTH, part="pocket", sharp_deg=100)


def test_a_point_and_a_direction_can_be_given():
    job = job_from_mesh(box_block(), CLOTH, part="rim", at_mm=(45, 0, 0), zero=(0, 1, 0))

    assert len(job.plies[0].faces) == 8
    assert_allclose(job.rosette.zero, [0, 1, 0])


def test_a_mould_with_nothing_in_its_middle_starts_at_the_nearest_face():
    """The frame around the pocket: a ring, its rim the only faces that look up."""
    mould = box_block()
    frame = MouldMesh(mould.vertices, mould.faces[10:18])

    job = job_from_mesh(frame, CLOTH, part="frame")

    assert len(job.plies[0].faces) == 8
    assert_allclose(job.rosette.normal, [0, 0, 1])


def test_a_mould_that_lies_face_down_asks_for_its_lay_up_side():
    mould = box_block()
    floor = MouldMesh(mould.vertices, mould.faces[:2, ::-1])

    with pytest.raises(InputError, match="No face of the mould looks up"):
        job_from_mesh(floor, CLOTH, part="floor")


def test_new_and_run_go_from_stl_to_files(tmp_path, capsys):
    mould, inside, _ = dish()
    inches = MouldMesh(mould.vertices / 25.4, mould.faces[inside])
    (tmp_path / "dish.stl").write_bytes(stl_bytes(inches))

    code = main(["new", str(tmp_path / "dish.stl"), "--unit", "in", "--plies", "0,45"])

    job = load_job(tmp_path / "dish job")
    assert code == 0
    assert "2 plies" in capsys.readouterr().out
    assert job.mould.size_mm == pytest.approx(
        MouldMesh(mould.vertices, mould.faces[inside]).size_mm, rel=1e-6
    )
    assert main(["run", str(tmp_path / "dish job")]) == 0
    assert len(read_index(tmp_path / "dish job" / "cut")["plies"]) == 2


@pytest.mark.parametrize(
    ("code", "more", "angles", "fabrics"),
    [
        ("[0/45]s", [], [0, 45, 45, 0], ["carbon_twill_210"] * 4),
        (
            "[M/90f]T",
            ["--mat", "glass_mat_225", "--cloth", "glass_twill_200"],
            [0, 90],
            ["glass_mat_225", "glass_twill_200"],
        ),
        ("[M]2T", ["--cloth", "glass_mat_225"], [0, 0], ["glass_mat_225"] * 2),
        ("[0/90]T", ["--cloth", "carbon_ud_150"], [0, 90], ["carbon_ud_150"] * 2),
    ],
)
def test_plies_are_given_as_a_laminate_code_too(tmp_path, code, more, angles, fabrics):
    """[0/45]s is 0, 45, 45, 0: half of the stack, then its mirror image; M is mat, f woven."""
    (tmp_path / "box.stl").write_bytes(stl_bytes(box_block()))
    order = ["new", str(tmp_path / "box.stl"), "--out", str(tmp_path / "job"), "--plies", code]

    assert main([*order, *more]) == 0

    job = load_job(tmp_path / "job")
    assert [ply.angle_deg for ply in job.plies] == angles
    assert [ply.fabric for ply in job.plies] == fabrics
    assert {cloth.id for cloth in job.fabrics} == set(fabrics)


@pytest.mark.parametrize(
    ("options", "reason"),
    [
        (["--cloth", "velvet"], "no cloth 'velvet'"),
        (["--plies", "0;45"], "--plies is '0;45'"),
        (["--plies", "[0/45"], "does not read as"),
        (["--plies", "[0/M]T"], "ply 2 is marked M, and 'carbon_twill_210' is no mat"),
        (["--plies", "[M]T", "--mat", "glass_twill_200"], "'glass_twill_200' is no mat"),
        (["--plies", "[0/0f]T", "--cloth", "carbon_ud_150"], "ply 2 is marked f"),
        (["--mat", "felt"], "no cloth 'felt'"),
        (["--at", "1,2"], "--at is '1,2'"),
        (["--sharp", "-3"], "edge angle is -3"),
        (["--up", "0,0,0"], "no direction"),
    ],
)
def test_bad_options_are_named_and_write_nothing(tmp_path, capsys, options, reason):
    (tmp_path / "box.stl").write_bytes(stl_bytes(box_block()))

    assert main(["new", str(tmp_path / "box.stl"), *options]) == 2

    assert reason in capsys.readouterr().err
    assert not (tmp_path / "box job").exists()


def test_a_folder_in_use_is_left_alone(tmp_path, capsys):
    (tmp_path / "box.stl").write_bytes(stl_bytes(box_block()))
    (tmp_path / "box job").mkdir()
    (tmp_path / "box job" / "notes.txt").write_text("mine")

    assert main(["new", str(tmp_path / "box.stl")]) == 2
    assert "no empty folder" in capsys.readouterr().err
