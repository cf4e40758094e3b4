"""No step of the work goes on for ever: a piece that does not come to rest is given up by name.

tests/bench/long_bounds.py measures what the promised sizes take.
"""

import re
import time
from contextlib import nullcontext
from dataclasses import replace

import numpy as np
import pytest
from sample_jobs import TWILL, dish, dish_job

import flatten.run
from flatten import lay
from flatten.cloth import start
from flatten.cloth.energy import Panels
from flatten.cloth.factor import SparseSystem
from flatten.cloth.library import load_fabrics
from flatten.errors import Cancelled, InputError, SolveError
from flatten.export.canvas import wrapped
from flatten.export.fonts import width_mm
from flatten.job import Settings
from flatten.laminate import resin
from flatten.laminate.ply import Ply
from flatten.laminate.settings import LaminateSettings
from flatten.run import run
from flatten.surface.mesh import MouldMesh, SurfaceMesh


def small_job(**changes):
    mould, inside, _ = dish(cells=6)
    plies = (Ply(id="p1", name="skin", faces=inside, fabric=TWILL),)
    return dish_job(**{"mould": mould, "plies": plies, **changes})


@pytest.mark.parametrize("edge_mm", [None, 8.0])
def test_a_piece_that_does_not_come_to_rest_is_given_up_and_named(monkeypatch, edge_mm):
    """Its ply, its size, after how much, and an edge length twice as long as the one it had."""
    job = small_job(settings=Settings(edge_mm=edge_mm))
    monkeypatch.setattr(lay, "MOST_STEPS", 4)
    monkeypatch.setattr(lay, "MOST_WORK", 4)
    with pytest.raises(SolveError) as told:
        run(job)

    words = str(told.value)
    assert "Ply 'skin' does not come to rest" in words
    assert "given up after 4 steps" in words
    surface = lay.patches_of(job, job.plies[0], job.fabrics[0], job.mould)[0].surface
    ends = surface.vertices[surface.edges.vertices]
    longest = float(np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1).max())
    twice = float(re.search(r"triangles, ([\d.]+) mm or more", words)[1])
    assert longest <= twice / 2 * 1.01 < 2 * longest  # no edge is longer, or all would be split
    assert set(told.value.faces) <= set(job.plies[0].faces.tolist())


def test_the_bound_is_far_off_for_a_piece_that_does(monkeypatch):
    """Steps do not grow with the size: a fifth of what any size is allowed is plenty."""
    monkeypatch.setattr(lay, "MOST_STEPS", lay.MOST_STEPS // 5)
    monkeypatch.setattr(lay, "MOST_WORK", 1)
    for edge_mm in (None, 2.0):
        assert run(small_job(settings=Settings(edge_mm=edge_mm)), upto="patterns").pieces


def test_the_bound_counts_triangles_once_there_are_many(monkeypatch):
    """Twice the triangles, half the steps, but never fewer than any size is allowed."""
    monkeypatch.setattr(lay, "MOST_WORK", 100_000)
    monkeypatch.setattr(lay, "MOST_STEPS", 7)
    most = []
    for count in (1_000, 2_000, 50_000):
        most.append(0)

        def step(share, what):
            most[-1] += 1

        told = lay._bounded(step, *_piece_of(count), None)
        with pytest.raises(SolveError):
            _work_on(told)
    assert most == [100, 50, 7]


def _work_on(progress):
    for _ in range(1_000):
        progress(0.0, "")


def _piece_of(count):
    """Return a ply and what the bound looks at of a piece with so many triangles."""
    n = int(np.sqrt(count / 2) + 1)
    x, y = (a.ravel() for a in np.meshgrid(np.arange(n + 1.0), np.arange(n + 1.0)))
    corner = (np.arange(n)[:, None] * (n + 1) + np.arange(n)).ravel()
    quads = np.column_stack([corner, corner + 1, corner + 2 + n, corner + 1 + n])
    faces = np.concatenate([quads[:, :3], quads[:, [0, 2, 3]]])[:count]

    class Piece:
        surface = SurfaceMesh(np.column_stack([x, y, 0 * x]), faces)
        source_faces, inside = np.arange(count), np.ones(count, bool)

    return Ply(id="p", name="p", faces=[0], fabric=TWILL), Piece()


def test_a_mould_in_the_wrong_unit_is_refused_before_any_cloth_is_laid(monkeypatch):
    """A plate of a kilometre with four plies was draped for minutes, and refused after that."""
    small = small_job()
    large = MouldMesh(small.mould.vertices * 1000, small.mould.faces)  # metres taken for mm
    laid = []
    monkeypatch.setattr(flatten.run, "lay_ply", lambda *given: laid.append(given))
    with pytest.raises(InputError, match=r"kg of resin make \d+ batches.*Check the mould's unit"):
        run(replace(small, mould=large), upto="patterns")
    assert not laid


@pytest.mark.parametrize("cloth", [TWILL, "glass_mat_300"])
def test_only_what_would_be_refused_after_the_drape_is_refused_before_it(monkeypatch, cloth):
    """The cloth is not laid yet, its trim and shear not known: twice as much is let through."""
    ply = replace(small_job().plies[0], fabric=cloth)
    job = small_job(fabrics=(load_fabrics()[cloth],), plies=(ply,), settings=_small_pots())
    most = len(run(job, upto="patterns").quantities.batches)
    assert most > 50
    lay_ply, laid = flatten.run.lay_ply, []
    monkeypatch.setattr(flatten.run, "lay_ply", lambda *a: laid.append(a) or lay_ply(*a))
    for allowed, told, drapes in ((most, False, 1), (most - 1, True, 1), (most // 4, True, 0)):
        monkeypatch.setattr(resin, "MOST_BATCHES", allowed)
        laid.clear()
        with pytest.raises(InputError, match="batches of") if told else nullcontext():
            run(job, upto="patterns")
        assert len(laid) == drapes, allowed


def _small_pots():
    return Settings(laminate=LaminateSettings(pot_limit_g=0.1, scale_step_g=0.01))


def test_the_start_from_a_disc_hears_a_stop(monkeypatch):
    """It takes a minute on large parts; without that neither the bound nor a person reaches it."""
    job = small_job()
    surface = lay.patches_of(job, job.plies[0], job.fabrics[0], job.mould)[0].surface
    system = SparseSystem(
        surface.faces, surface.edges, len(surface.vertices), points=surface.vertices
    )
    monkeypatch.setattr(start, "untangled", lambda flat, mesh, panels: None)
    asked = []

    def stop(share, what):
        asked.append(what)
        raise Cancelled

    with pytest.raises(Cancelled):
        start.first_layout(surface, Panels.of(surface), system, stop)
    assert asked == ["Laying the cloth"]


# --- names


@pytest.mark.parametrize("where", ["part", "ply", "cloth"])
def test_a_name_no_label_has_room_for_is_refused(where):
    """A thousand letters once took a minute to break into lines, ten thousand hours."""
    job = small_job()
    for count, told in ((200, None), (201, "'aaaaaaaaaaaaaaaaaaaaaaaaaaaaaa…' is 201 characters")):
        name = "a" * count
        changed = {
            "part": {"part": name},
            "ply": {"plies": (replace(job.plies[0], name=name),)},
            "cloth": {"fabrics": tuple(replace(one, name=name) for one in job.fabrics)},
        }[where]
        if told is None:
            assert replace(job, **changed)
            continue
        with pytest.raises(InputError, match=told):
            replace(job, **changed)


def test_a_word_of_thousands_of_letters_is_broken_in_no_time():
    """Letter by letter from the left: from the right, the time grew with the third power."""
    began = time.process_time()
    lines = wrapped("m" * 2000, 2.5, 30.0)
    took = time.process_time() - began

    assert "".join(lines) == "m" * 2000
    assert all(width_mm(line, 2.5) <= 30.0 for line in lines)
    full = [width_mm(f"{line}m", 2.5) > 30.0 for line in lines[:-1]]
    assert all(full)  # and as many letters a line as there is room for
    assert took < 5.0  # far above a tenth of a second, far below the minutes it took
