"""`mouldply cuts`: proposals told, accepted ones written into the job folder."""

import json
from dataclasses import replace

import numpy as np
import pytest
from shapes import sheet

from flatten.__main__ import main
from flatten.cloth.library import load_fabrics
from flatten.job import Job, load_job, save_job
from flatten.laminate.ply import Ply
from flatten.laminate.stagger import check_stagger
from flatten.surface.cut import Cut
from flatten.surface.mesh import MouldMesh
from flatten.surface.rosette import Rosette


def flat_job(width=400.0):
    """A plate wider than its roll of 300 mm, both ways."""
    plate = sheet(lambda u, v: (u, v, 0 * u), np.linspace(0, width, 9), np.linspace(0, width, 9))
    return job_of(plate, "carbon_twill_200")


def job_of(surface, cloth):
    ply = Ply(id="p1", name="first", faces=np.arange(len(surface.faces)), fabric=cloth)
    return Job(
        part="plate",
        mould=MouldMesh(surface.vertices, surface.faces),
        plies=(ply,),
        fabrics=(replace(load_fabrics()[cloth], roll_width_mm=300),),
        rosette=Rosette([0, 0, 0], [1, 0, 0], [0, 0, 1]),
    )


def test_splices_of_a_piece_too_wide_are_written_into_the_job(tmp_path, capsys):
    save_job(flat_job(), tmp_path / "job")

    assert main(["cuts", str(tmp_path / "job"), "--json", "--accept", "all"]) == 0

    told = json.loads(capsys.readouterr().out)
    assert {one["kind"] for one in told} == {"splice"}
    assert all(one["accepted"] and "fits the roll" in one["gain"] for one in told)
    cuts = load_job(tmp_path / "job").plies[0].cuts
    assert [one.id for one in cuts] == [f"p1c{k}" for k in range(1, len(told) + 1)]
    assert main(["cuts", str(tmp_path / "job")]) == 0
    assert "no cut is needed" in capsys.readouterr().out


def test_cuts_not_asked_for_are_only_told(tmp_path, capsys):
    save_job(flat_job(), tmp_path / "job")
    assert main(["cuts", str(tmp_path / "job")]) == 0
    assert "first, splice-1: The piece is" in capsys.readouterr().out
    assert not load_job(tmp_path / "job").plies[0].cuts


def test_an_unknown_cut_and_an_unknown_ply_are_named(tmp_path, capsys):
    save_job(flat_job(150.0), tmp_path / "job")
    assert main(["cuts", str(tmp_path / "job"), "--accept", "dart-9"]) == 2
    assert "no proposed cut 'dart-9'" in capsys.readouterr().err
    assert main(["cuts", str(tmp_path / "job"), "--ply", "p9"]) == 2
    assert "no ply 'p9'" in capsys.readouterr().err


def test_cuts_are_accepted_only_into_a_job_folder(tmp_path, capsys):
    (tmp_path / "mould.blend").write_bytes(b"")
    assert main(["cuts", str(tmp_path / "mould.blend"), "--accept", "all"]) == 2
    assert "not a job folder" in capsys.readouterr().err


def stacked_job():
    """A plate of 400 mm; two plies, both spliced along the same line, one elsewhere too."""
    plate = sheet(lambda u, v: (u, v, 0 * u), np.linspace(0, 400, 9), np.linspace(0, 400, 9))
    job = job_of(plate, "carbon_twill_200")
    joint = {"kind": "splice", "joint": "lap", "lap_mm": 20.0}
    lower = Cut(id="p1c1", path=np.array([[0.0, 210, 0], [400, 210, 0]]), **joint)
    upper = Cut(id="p2c1", path=np.array([[0.0, 205, 0], [400, 205, 0]]), **joint)
    first = replace(job.plies[0], cuts=(lower,))
    clear = Cut(id="p2c2", path=np.array([[0.0, 60, 0], [400, 60, 0]]), **joint)
    second = replace(first, id="p2", name="second", cuts=(upper, clear))
    return replace(job, plies=(first, second))


def test_cuts_over_a_joint_of_the_ply_below_are_moved_in_the_job(tmp_path, capsys):
    """5 mm apart where 25 are wanted: the upper goes on to its own side, the lower stays."""
    save_job(stacked_job(), tmp_path / "job")
    before = load_job(tmp_path / "job")
    cloths = {fabric.id: fabric for fabric in before.fabrics}
    assert check_stagger(before.mould, before.plies, cloths)

    assert main(["cuts", str(tmp_path / "job"), "--stagger", "--json"]) == 0

    (told,) = json.loads(capsys.readouterr().out)
    assert (told["ply_id"], told["cut"]) == ("p2", "p2c1")
    after = load_job(tmp_path / "job")
    assert not check_stagger(after.mould, after.plies, cloths)
    assert np.array_equal(after.plies[0].cuts[0].path, before.plies[0].cuts[0].path)
    cut, clear = after.plies[1].cuts
    assert np.array_equal(clear.path, before.plies[1].cuts[1].path)
    assert (cut.id, cut.lap_mm) == ("p2c1", 20.0)
    off = np.abs(cut.path[:, 1] - 210)
    assert off.min() >= 25 - 1e-6
    assert told["moved_mm"] == pytest.approx(np.abs(cut.path[:, 1] - 205).min(), abs=0.06)
    assert main(["cuts", str(tmp_path / "job"), "--stagger"]) == 0
    assert "No cut lies too near a joint" in capsys.readouterr().out


def test_a_cut_is_moved_only_in_a_job_folder_and_only_off_a_joint(tmp_path, capsys):
    (tmp_path / "mould.blend").write_bytes(b"")
    assert main(["cuts", str(tmp_path / "mould.blend"), "--stagger"]) == 2
    assert "not a job folder" in capsys.readouterr().err
    job = stacked_job()
    save_job(replace(job, plies=job.plies[:1]), tmp_path / "one")
    assert main(["cuts", str(tmp_path / "one"), "--stagger"]) == 0
    assert "No cut lies too near" in capsys.readouterr().out
