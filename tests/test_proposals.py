"""What is proposed for a ply of a job can be cut into it, whatever cuts it has already."""

from dataclasses import replace

import numpy as np
from shapes import sheet

import flatten.proposals
from flatten.__main__ import main
from flatten.cloth.library import load_fabrics
from flatten.cloth.relief_proposal import Lie, Proposal
from flatten.errors import SolveError
from flatten.job import Job, load_job, save_job
from flatten.laminate.ply import Ply
from flatten.proposals import cut_proposals, lies_down
from flatten.surface.cut import Cut
from flatten.surface.mesh import MouldMesh
from flatten.surface.rosette import Rosette

TWILL = "carbon_twill_210"
UNKNOWN = Lie(locked_mm2=900.0, locked_share=0.09, shear_deg=60.0, stretch=0.05)


def job_of(surface, *cuts):
    ply = Ply(id="p1", name="skin", faces=np.arange(len(surface.faces)), fabric=TWILL, cuts=cuts)
    return Job(
        part="cover",
        mould=MouldMesh(surface.vertices, surface.faces),
        plies=(ply,),
        fabrics=(load_fabrics()[TWILL],),
        rosette=Rosette([0, 0, 0], [1, 0, 0], [0, 0, 1]),
    )


def plate():
    side = np.linspace(-100, 100, 21)
    return sheet(lambda u, v: (u, v, 0 * u), side, side)


def bowl():
    """A piece of a sphere of 60 mm with four corners, each 97 degrees from the top."""
    return sheet(
        lambda u, v: (
            60 * np.sin(np.hypot(u, v)) * u / np.maximum(np.hypot(u, v), 1e-9),
            60 * np.sin(np.hypot(u, v)) * v / np.maximum(np.hypot(u, v), 1e-9),
            60 * np.cos(np.hypot(u, v)),
        ),
        np.linspace(-1.2, 1.2, 25),
        np.linspace(-1.2, 1.2, 25),
    )


def dart(name, *path):
    return Cut(id=name, kind="dart", path=np.array(path, float), joint="lap", lap_mm=20.0)


def proposed(cut, set_number):
    return Proposal(
        cut=cut,
        set_number=set_number,
        length_mm=float(np.linalg.norm(cut.path[-1] - cut.path[0])),
        faces=(0,),
        before=UNKNOWN,
        after=UNKNOWN,
        accept_deg=60.0,
        enough=False,
    )


def test_a_proposal_that_cannot_be_cut_is_left_out_and_the_others_are_laid_without_it(monkeypatch):
    """One runs from the ply's own dart to the far rim, so that it would end on the edge."""
    job = job_of(plate(), dart("own", (0, -100, 0), (0, -30, 0)))
    across = proposed(dart("dart-1", (0, -60, 0), (100, -60, 0)), 1)
    sound = proposed(dart("dart-2", (-100, 40, 0), (-50, 40, 0)), 2)
    monkeypatch.setattr(flatten.proposals, "_of_patch", lambda *given: [across, sound])

    (kept,) = cut_proposals(job, job.plies[0])

    assert kept.cut is sound.cut
    assert kept.enough
    assert kept.after.locked_mm2 == 0  # laid again: a plate does not lock
    assert kept.before is sound.before


def test_what_is_wrong_with_one_ply_is_told_after_the_cuts_of_the_others(
    monkeypatch, tmp_path, capsys
):
    job = job_of(plate())
    first = replace(job.plies[0], id="p0", name="deep")
    save_job(replace(job, plies=(first, job.plies[0])), tmp_path / "job")
    sound = proposed(dart("dart-2", (-100, 40, 0), (-50, 40, 0)), 1)

    def only_of_the_second(job, ply, *given):
        if ply.id == "p0":
            raise SolveError("The cloth does not come to rest here.", "Draw a first dart.")
        return [sound]

    monkeypatch.setattr(flatten.proposals, "_of_patch", only_of_the_second)

    assert main(["cuts", str(tmp_path / "job"), "--accept", "all"]) == 2

    said = capsys.readouterr()
    assert "skin, dart-2: accepted" in said.out
    assert "Ply 'deep': The cloth does not come to rest here. Draw a first dart." in said.err
    assert [len(ply.cuts) for ply in load_job(tmp_path / "job").plies] == [0, 1]


def test_a_ply_no_cut_helps_is_not_said_to_lie_down(monkeypatch, tmp_path, capsys):
    job, flat = job_of(bowl()), job_of(plate())
    save_job(job, tmp_path / "job")
    assert not lies_down(job, job.plies[0])
    assert lies_down(flat, flat.plies[0])
    monkeypatch.setattr(flatten.proposals, "_of_patch", lambda *given: [])

    assert main(["cuts", str(tmp_path / "job")]) == 0

    said = capsys.readouterr().out
    assert "No cut was found that lets ply 'skin' lie down" in said
    assert "no cut is needed" not in said
