"""Pieces besides the plies' own: they are drawn, nested, listed, and it is said where they go.

Longer than most files: patches, covers, cores and tapes go the same way.
"""

import csv
import io
from dataclasses import replace

import numpy as np
import pytest
from pattern.solids import cube
from sample_jobs import TWILL, dish_job

from flatten.__main__ import main
from flatten.cloth.library import load_fabrics
from flatten.deliver import deliver
from flatten.errors import InputError
from flatten.facts import layup_sheet
from flatten.folder import read_index
from flatten.job import Settings, load_job, save_job
from flatten.laminate.extra import Extra
from flatten.laminate.ply import Ply
from flatten.laminate.settings import LaminateSettings, Rates
from flatten.laminate.stack import Stack
from flatten.nest.roll import Roll, Stock
from flatten.nest.settings import NestSettings
from flatten.pattern.settings import Dressing
from flatten.run import run
from flatten.serve import Request, do
from flatten.stamp import ply_stamps
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


CLOTHS = (TWILL, "peel_ply_85", "pvc_foam_80_5mm")
CORE = Extra(id="core", name="core", kind="core", fabric="pvc_foam_80_5mm", ply="p1", bevel_deg=45)
PEEL = Extra(id="peel", name="peel ply", fabric="peel_ply_85", trim_mm=20)


def plate(cells=6, size_mm=240.0):
    """A flat plate; faces of the whole, and of the middle of it, 160 mm wide."""
    side = np.linspace(-size_mm / 2, size_mm / 2, cells + 1)
    x, y = np.meshgrid(side, side, indexing="xy")
    n = cells + 1
    corner = (np.arange(cells)[:, None] * n + np.arange(cells)).ravel()
    quads = np.column_stack([corner, corner + 1, corner + 1 + n, corner + n])
    faces = np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])
    mould = MouldMesh(np.column_stack([x.ravel(), y.ravel(), 0 * x.ravel()]), faces)
    middle = np.abs(mould.corners.mean(axis=1)[:, :2]).max(axis=1) < size_mm / 3
    return mould, np.flatnonzero(middle)


def plate_job(**changes):
    """Two plies of twill on the plate, with a core between them and peel ply on top."""
    mould, inside = plate()
    library = load_fabrics()
    given = {
        "mould": mould,
        "plies": (
            Ply(id="p1", name="outer", faces=inside, fabric=TWILL),
            Ply(id="p2", name="inner", faces=inside, fabric=TWILL),
        ),
        "fabrics": tuple(library[name] for name in CLOTHS),
        "extras": (CORE, PEEL),
    }
    return dish_job(**{**given, **changes})


@pytest.fixture(scope="module")
def plate_run(tmp_path_factory):
    folder = tmp_path_factory.mktemp("plate")
    job = plate_job()
    result = run(job)
    deliver(result, job, folder)
    return job, result, folder


def test_core_and_peel_ply_are_cut_from_the_plies_region(plate_run):
    """A plate of 160 mm: the core as large, its bevel 5 mm wide; peel ply 20 mm larger all round.

    Corners of a trim are rounded, so 4 quarter squares less circle: 20 mm squared x (4 - pi);
    the trim strip is found on the mould to 1 % of its width.
    """
    _, result, _ = plate_run
    core, peel = (extra.pattern for extra in result.extras)

    assert core.cut.area == pytest.approx(160**2, rel=1e-6)
    assert core.net.area == pytest.approx(150**2, rel=1e-6)
    assert peel.cut.area == pytest.approx(200**2 - (4 - np.pi) * 20**2, rel=3e-3)
    assert [extra.pattern.role for extra in result.extras] == ["core", "cover"]
    assert core.where == "on ply 1 outer, under ply 2"
    assert peel.where == "on top, after ply 2"


def test_each_lies_on_its_own_roll_and_in_every_list(plate_run):
    _, result, folder = plate_run

    placed = {
        cloth: [p.piece for sheet in nest.sheets for p in sheet.placements]
        for cloth, nest in result.nests.items()
    }
    rows = csv.DictReader(io.StringIO((folder / "cut_list.csv").read_text("utf-8-sig")))

    assert sorted(placed[TWILL]) == ["p1", "p2"]
    assert placed["peel_ply_85"] == ["peel"]
    assert placed["pvc_foam_80_5mm"] == ["core"]
    assert [(row["piece"], row["goes"]) for row in rows][2:] == [
        ("core", "on ply 1 outer, under ply 2"),
        ("peel", "on top, after ply 2"),
    ]
    assert (folder / "roll peel_ply_85.dxf").is_file()
    assert [row["kind"] for row in read_index(folder)["extras"]] == ["core", "cover"]


def test_a_cover_from_a_roll_with_a_price_is_paid_for_once():
    """Peel ply at 3 a square metre, or at 2 a metre of roll: never both."""
    rates = LaminateSettings(process="bagged", rates=Rates(peel_ply_per_m2=3.0))
    settings = Settings(nest=NestSettings(seconds=0.0), laminate=rates)
    peel = load_fabrics()["peel_ply_85"]

    def costs(price):
        roll = Roll(id="r", fabric=peel.id, width_mm=peel.roll_width_mm, price_per_m=price)
        result = run(plate_job(settings=settings, stock=Stock(rolls=(roll,))))
        lines = {line.name: line.cost for line in result.estimate.costs}
        return lines, result.nests[peel.id].used_length_mm

    by_area, _ = costs(0.0)
    by_roll, taken_mm = costs(2.0)

    assert by_area["Peel ply"] > 0
    assert by_area["Cloth"] == 0
    assert "Peel ply" not in by_roll
    assert by_roll["Cloth"] == pytest.approx(taken_mm / 1000 * 2.0, abs=0.006)


def test_a_cover_called_like_its_cloth_is_named_once():
    """ "Peel ply 85, woven: 3 Peel ply 85, woven" says nothing twice."""
    cloth = load_fabrics()["peel_ply_85"]
    job = plate_job(extras=(CORE, replace(PEEL, name=cloth.name)))
    sheet = layup_sheet(run(job), job)

    assert [row for row in sheet.cutting if cloth.name in row] == [f"{cloth.name}: 4 cover"]
    assert [kit.plies for kit in sheet.kits if kit.fabric == cloth.name] == ["cover"]


def test_the_next_ply_lies_on_the_core_and_the_part_has_its_mass(plate_run):
    """The drape of ply 2 is 5 mm and one ply higher; the foam weighs 400 g/m2."""
    job, result, _ = plate_run
    plain = run(plate_job(extras=()), upto="patterns")

    one, two = (piece.drape.surface.vertices[:, 2].mean() for piece in result.pieces)
    skin = [piece.drape.surface.vertices[:, 2].mean() for piece in plain.pieces]

    assert one == pytest.approx(skin[0], abs=1e-9)
    assert two - skin[1] == pytest.approx(5.0, abs=1e-6)
    foam = result.quantities.part_g - plain.quantities.part_g
    assert foam == pytest.approx(400 * 0.16**2, rel=1e-9)
    low, high = result.quantities.thickness_range_mm
    assert low == pytest.approx(high)
    assert low == pytest.approx(5 + plain.quantities.thickness_range_mm[0], rel=1e-9)
    assert "core_resin" in {finding.code for finding in result.findings}
    before, after = ply_stamps(replace(job, extras=())), ply_stamps(job)
    assert before["p1"] == after["p1"]
    assert before["p2"] != after["p2"]


def test_a_core_of_a_symmetric_stack_lies_in_the_middle():
    job = plate_job()
    mirrored = LaminateSettings(stack_order="symmetric")
    core = replace(CORE, ply="p2")

    stack = Stack.of(job.plies, mirrored, replace(job, extras=(core,)).cores)

    face = job.plies[0].faces[0]
    heights = [stack.cores_under(number, len(job.mould.faces))[face] for number in (1, 2, 3, 4, 5)]
    assert heights == [0, 0, 5, 5, 5]


def test_sharp_inner_corners_get_tapes_before_the_first_ply():
    """An open box of 60 mm seen from inside: eight equal corners, one template."""
    vertices, faces, _ = cube(60.0)
    lid = (vertices[faces][:, :, 2] == 60).all(axis=1)
    floor = (vertices[faces][:, :, 2] == 0).all(axis=1)
    tape = Extra(id="tape", name="tape", kind="corner_tape", fabric=TWILL, width_mm=20)
    job = dish_job(
        mould=MouldMesh(vertices, faces[:, ::-1]),
        plies=(
            Ply(id="p1", name="floor", faces=np.flatnonzero(floor), fabric=TWILL),
            Ply(id="p2", name="walls", faces=np.flatnonzero(~lid & ~floor), fabric=TWILL,
                cuts=(Cut(id="c", kind="splice", path=[[0, 0, 60], [0, 0, 0]], joint="butt",
                          lap_mm=0),)),
        ),
        extras=(tape,),
    )  # fmt: skip

    (piece,) = run(job, upto="patterns").extras  # and no gap patch: the walls are a tube, unrolled

    assert piece.pattern.count == 8
    assert piece.pattern.where == "in 8 sharp inner corners of the mould, 60 mm long, before ply 1"
    assert np.linalg.norm(np.diff(piece.line_mm, axis=0), axis=1).sum() == pytest.approx(60)


def test_a_job_keeps_its_extras(tmp_path):
    job = plate_job()
    save_job(job, tmp_path / "job")

    assert load_job(tmp_path / "job") == job
    assert replace(job, extras=(CORE,)).digest != job.digest


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"ply": "p9"}, "lies on ply 'p9', which the job does not have"),
        ({"fabric": "oak"}, "asks for cloth 'oak'"),
        ({"id": "p1"}, "used twice"),
        ({"ply": ""}, "lies on no ply"),
        ({"bevel_deg": 5.0}, "bevel_deg is 5"),
        ({"bevel_deg": 10.0, "fabric": "thick"}, "leaves no upper face"),
    ],
)
def test_an_extra_that_cannot_be_is_refused(changes, words):
    thick = replace(load_fabrics()["pvc_foam_80_5mm"], id="thick", dry_thickness_mm=30.0)
    fabrics = (*plate_job(extras=()).fabrics, thick)
    with pytest.raises(InputError, match=words):
        run(plate_job(extras=(replace(CORE, **changes),), fabrics=fabrics), upto="patterns")


def test_the_command_line_asks_for_extras(tmp_path, capsys):
    save_job(plate_job(extras=(), fabrics=(load_fabrics()[TWILL],)), tmp_path / "job")
    out = tmp_path / "cut"

    code = main(
        ["run", str(tmp_path / "job"), "--out", str(out), "--cover", "peel_ply_85:20",
         "--core", "pvc_foam_80_5mm:45@1"]
    )  # fmt: skip

    assert code == 0
    assert "on ply 1 outer, under ply 2" in capsys.readouterr().out.replace("\n", " ")
    assert [row["kind"] for row in read_index(out)["extras"]] == ["cover", "core"]
    assert main(["check", str(tmp_path / "job"), "--cover", "oak"]) == 2
    assert main(["check", str(tmp_path / "job"), "--core", "pvc_foam_80_5mm@7"]) == 2
    assert "There is no ply '7'" in capsys.readouterr().err
