"""Pieces besides the plies' own: they are drawn, nested, listed, and it is said where they go."""

import csv
import io

import numpy as np
import pytest
from sample_jobs import dish_job

from flatten.cloth.library import load_fabrics
from flatten.deliver import deliver
from flatten.facts import layup_sheet
from flatten.folder import read_index
from flatten.job import Settings
from flatten.laminate.ply import Ply
from flatten.nest.settings import NestSettings
from flatten.pattern.settings import Dressing
from flatten.run import run
from flatten.serve import Request, do
from flatten.surface.cut import Cut
from flatten.surface.mesh import MouldMesh

MAT = "glass_mat_300"
QUICK = NestSettings(seconds=0.0)


def saddle(size_mm=300.0, rise_mm=40.0, cells=14):
    """A saddle over a square: cloth laid on it must spread towards its rim."""
    side = np.linspace(-1, 1, cells + 1)
    x, y = np.meshgrid(side, side, indexing="xy")
    points = [x.ravel() * size_mm / 2, y.ravel() * size_mm / 2, rise_mm * (x**2 - y**2).ravel()]
    n = cells + 1
    corner = (np.arange(cells)[:, None] * n + np.arange(cells)).ravel()
    quads = np.column_stack([corner, corner + 1, corner + 1 + n, corner + n])
    faces = np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])
    return MouldMesh(np.column_stack(points), faces)


def saddle_job(**changes):
    """A ply of mat on the saddle, with a butted dart from the rim to near the middle."""
    mould = saddle()
    x = np.linspace(150, 30, 9)
    dart = Cut(
        id="c1",
        kind="dart",
        path=np.column_stack([x, 0 * x, 40 * (x / 150) ** 2]),
        joint="butt",
        lap_mm=0,
    )
    ply = Ply(
        id="p1",
        name="saddle",
        faces=np.arange(len(mould.faces)),
        fabric=MAT,
        cuts=(dart,),
        tack_mm=np.array([-20.0, 0.0, 40 * (20 / 150) ** 2]),
    )
    given = {
        "part": "Saddle",
        "mould": mould,
        "plies": (ply,),
        "fabrics": (load_fabrics()[MAT],),
        "settings": Settings(nest=QUICK, edge_mm=8.0),
    }
    return dish_job(**{**given, **changes})


@pytest.fixture(scope="module")
def saddle_run(tmp_path_factory):
    folder = tmp_path_factory.mktemp("saddle")
    job = saddle_job()
    result = run(job)
    deliver(result, job, folder)
    return job, result, folder


def test_an_open_dart_gets_a_patch_that_goes_all_the_way(saddle_run):
    """In the cutter file, the nest, the cut list, the sheet and the index, and no longer a stop."""
    job, result, folder = saddle_run
    (patch,) = result.extras

    assert patch.pattern.role == "gap_patch"
    assert patch.of == "p1"
    placed = [p.piece for sheet in result.nests[MAT].sheets for p in sheet.placements]
    assert sorted(placed) == ["p1", "p1-gap-1"]
    rows = csv.DictReader(io.StringIO((folder / "cut_list.csv").read_text("utf-8-sig")))
    assert {row["piece"]: row["goes"] for row in rows} == {
        "p1": "ply 1",
        "p1-gap-1": patch.pattern.where,
    }
    assert "over the open joint at notch 1" in patch.pattern.where
    assert patch.pattern.where in layup_sheet(result, job).extras[0]
    (listed,) = read_index(folder)["extras"]
    assert (listed["id"], listed["kind"], listed["of"]) == ("p1-gap-1", "gap_patch", "p1")
    codes = {finding.code: finding for finding in result.findings}
    assert codes["gap_patched"].severity == "warning"
    assert not result.stopped


def test_the_patch_lies_along_the_dart_on_the_mould(saddle_run):
    """From near the dart's tip to the rim: the way is given on the mould, not in the flat."""
    _, result, _ = saddle_run
    line = result.extras[0].line_mm

    assert np.abs(line[:, 1]).max() < 1e-6
    assert line[:, 0].max() == pytest.approx(150, abs=1e-6)
    assert line[:, 0].min() < 45
    assert line[:, 2] == pytest.approx(40 * (line[:, 0] / 150) ** 2, abs=0.3)


def test_the_cloth_of_a_patch_is_weighed(saddle_run):
    _, result, _ = saddle_run

    cut = sum(pattern.cut.area for pattern in result.patterns)

    assert result.quantities.cut_area_m2 == pytest.approx(cut * 1e-6, rel=1e-9)
    assert result.quantities.cut_area_m2 > 1.1 * result.pieces[0].pattern.cut.area * 1e-6


def test_without_patches_the_overlap_stops_the_roll():
    plain = Dressing(patch_gaps=False)
    job = saddle_job(settings=Settings(nest=QUICK, edge_mm=8.0, dressing=plain))

    result = run(job)

    assert result.extras == ()
    assert [finding.code for finding in result.stopped] == ["drape_overlap"]


def test_the_answer_for_a_modelling_program_holds_the_patch(saddle_run):
    """One ply laid quickly brings its patches along; their triangles fill the cut outline."""
    job, result, _ = saddle_run

    answer = do(Request(job="", out="", plies=("p1",)), job)
    facts, arrays = list(answer.pieces())[1]

    assert (facts["id"], facts["role"], facts["ply_id"]) == ("p1-gap-1", "gap_patch", "p1")
    a, b, c = (arrays["flat"][arrays["triangles"][:, k]] for k in range(3))
    (x1, y1), (x2, y2) = (b - a).T, (c - a).T
    area = 0.5 * (x1 * y2 - x2 * y1)
    assert area.min() > 0
    assert area.sum() == pytest.approx(result.extras[0].pattern.cut.area, rel=1e-3)
    assert not arrays["inside"].any()
