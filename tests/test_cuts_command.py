"""`mouldply cuts`: proposals told, accepted ones written into the job folder."""

import json
from dataclasses import replace

import numpy as np
from shapes import sheet

from flatten.__main__ import main
from flatten.cloth.library import load_fabrics
from flatten.job import Job, load_job, save_job
from flatten.laminate.ply import Ply
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
