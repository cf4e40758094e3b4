"""The whole way from a job to a folder of files, on parts whose answers are known.

Longer than most files: one test for each thing the whole way must keep.
"""

import csv
import io
import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pyogrio
import pytest
import shapely
from numpy.testing import assert_allclose
from sample_jobs import TWILL, dish, dish_job, tray_job

from flatten.cloth.library import load_fabrics
from flatten.deliver import deliver, engraved_mould, files_of
from flatten.errors import Cancelled, FlattenError, InputError
from flatten.export.engrave import volume_mm3
from flatten.export.paper import PaperSettings
from flatten.export.settings import FileSettings
from flatten.finding import Finding
from flatten.folder import read_index
from flatten.job import Settings, save_job
from flatten.laminate.ply import Ply
from flatten.laminate.stack import Stack
from flatten.lay import lay_ply
from flatten.mould.settings import MouldSettings
from flatten.nest.roll import Roll, Stock
from flatten.nest.settings import NestSettings
from flatten.packed import read_arrays
from flatten.progress import silent
from flatten.run import mould_settings, run, stored_layouts
from flatten.summary import summary
from flatten.surface.mesh import MouldMesh
from flatten.surface.stl import read_stl
from flatten.verify import verify
from flatten.verify_lines import dxf_lines

ROOT = Path(__file__).parents[1]
FILES = {
    "patterns.dxf", "patterns.svg", "roll.dxf", "roll.svg", "templates.pdf", "layup.pdf",
    "cut_list.csv", "stack.csv", "estimate.csv", "drape.npz", "layouts.json", "result.json",
}  # fmt: skip


@pytest.fixture(scope="module")
def dish_run(tmp_path_factory):
    folder = tmp_path_factory.mktemp("dish")
    job = dish_job()
    result = run(job)
    deliver(result, job, folder)
    return job, result, folder


def test_every_file_is_there_and_as_it_was_written(dish_run):
    job, _, folder = dish_run

    index = read_index(folder)  # compares every digest

    assert {file.name for file in folder.iterdir()} == FILES
    assert index["job_digest"] == job.digest


def test_cloth_adds_up_to_all_of_it(dish_run):
    """Pieces, offcuts worth keeping and waste are the cloth used, selvedges counted in."""
    _, result, folder = dish_run
    roll = read_index(folder)["rolls"][0]

    parts = roll["pieces_fraction"] + roll["offcuts_fraction"] + roll["waste_fraction"]
    cut = sum(pattern.cut.area for pattern in result.patterns)

    assert parts == pytest.approx(1, abs=1e-12)
    assert roll["pieces_fraction"] * roll["cloth_mm2"] == pytest.approx(cut, rel=1e-9)
    assert roll["cloth_mm2"] == pytest.approx(roll["width_mm"] * roll["used_length_mm"], rel=1e-9)


@pytest.mark.parametrize("name", ["patterns.dxf", "roll.dxf"])
def test_another_reader_finds_the_same_areas_in_the_cutter_file(dish_run, name):
    """GDAL, through pyogrio, shares nothing with the writer. 1e-6: the file keeps 0.001 mm."""
    _, result, folder = dish_run

    frame = pyogrio.raw.read(folder / name, CLOSED_LINE_AS_POLYGON="YES")
    fields = dict(zip(frame[0]["fields"], frame[3], strict=True))
    shapes = shapely.from_wkb(frame[2])
    cut = [
        shape.area
        for shape, layer in zip(shapes, fields["Layer"], strict=True)
        if "cut" in layer.lower() and shape.geom_type == "Polygon"
    ]

    assert sorted(cut) == pytest.approx(sorted(p.cut.area for p in result.patterns), rel=1e-6)


def test_the_cut_list_names_every_pattern_with_its_area(dish_run):
    _, result, folder = dish_run
    text = (folder / "cut_list.csv").read_text(encoding="utf-8-sig")

    rows = list(csv.DictReader(io.StringIO(text)))

    assert [row["piece"] for row in rows] == [pattern.id for pattern in result.patterns]
    assert [float(row["cut area mm2"]) for row in rows] == pytest.approx(
        [pattern.cut.area for pattern in result.patterns], abs=0.051
    )


def test_the_overlay_arrays_hold_each_drape(dish_run):
    _, result, folder = dish_run

    arrays = read_arrays(folder / "drape.npz")

    for piece in result.pieces:
        assert_allclose(arrays[f"{piece.pattern.id}/flat"], piece.drape.flat)
        assert len(arrays[f"{piece.pattern.id}/source_faces"]) == len(piece.drape.strain)


def test_a_flat_plate_comes_out_as_it_is():
    """An L-shaped plate, neither symmetric nor square: its pattern is its outline, not mirrored.

    Seen from the lay-up side (+z) with 0 degrees along x, the pattern has the plate's own
    coordinates, moved so that the tack point is the origin. At 30 degrees it is turned by -30.
    """
    outline = np.array([[0, 0], [200, 0], [200, 60], [80, 60], [80, 150], [0, 150]], float)
    vertices = np.column_stack([outline, np.zeros(6)])
    mould = MouldMesh(vertices, [[0, 1, 2], [0, 2, 3], [0, 3, 4], [0, 4, 5]])
    plies = tuple(
        Ply(
            id=f"p{a}", name="L", faces=[0, 1, 2, 3], fabric=TWILL, angle_deg=a, tack_mm=[40, 40, 0]
        )
        for a in (0, 30)
    )

    straight, turned = run(dish_job(mould=mould, plies=plies), upto="patterns").patterns

    moved = shapely.affinity.translate(shapely.Polygon(outline), -40, -40)
    assert straight.net.symmetric_difference(moved).area < 1e-3 * moved.area
    turned_plate = shapely.affinity.rotate(moved, -30, origin=(0, 0))
    assert turned.net.symmetric_difference(turned_plate).area < 1e-3 * moved.area
    mirrored = shapely.affinity.scale(moved, 1, -1, origin=(0, 0))
    assert straight.net.symmetric_difference(mirrored).area > 0.1 * moved.area  # the test can see


def test_three_plies_of_210_gram_twill_by_hand_are_a_millimetre():
    """Common practice, no source: about 1 mm, 0.9 to 1.1."""
    job = dish_job()
    plies = tuple(replace(job.plies[0], id=f"p{i}") for i in range(3))

    result = run(replace(job, plies=plies), upto="patterns")

    assert 0.9 < result.quantities.thickness_mm < 1.1


def test_a_piece_wider_than_the_roll_stops_the_roll_only(tmp_path):
    """Patterns and paper are written, the roll is not, and the finding says why."""
    stock = Stock(rolls=(Roll(id="tape", fabric=TWILL, width_mm=120),))
    job = dish_job(stock=stock)

    result = run(job)
    deliver(result, job, tmp_path)

    assert {finding.code for finding in result.stopped} == {"piece_too_large"}
    assert all("spliced along the warp into" in finding.hint for finding in result.stopped)
    names = {file.name for file in tmp_path.iterdir()}
    assert {"patterns.dxf", "templates.pdf", "layup.pdf"} <= names
    assert not {"roll.dxf", "layouts.json"} & names
    assert read_index(tmp_path)["rolls"] == []


def test_stock_too_short_stops_that_cloths_roll_only(tmp_path):
    """Two pieces of twill, 250 mm of it, and plain enough: all but the twill's roll is written."""
    job = dish_job(stock=Stock(rolls=(Roll(id="rest", fabric=TWILL, width_mm=220, length_mm=250),)))
    plain = load_fabrics()["carbon_plain_160"]
    third = replace(job.plies[0], id="p3", name="plain skin", fabric=plain.id)
    job = replace(job, plies=(*job.plies, third), fabrics=(*job.fabrics, plain))

    result = run(job)
    deliver(result, job, tmp_path)

    (found,) = result.stopped
    assert found.code == "stock_short"
    left = next(p for p in result.patterns if f"'{p.id}'" in found.message)
    length, width = np.ptp(np.reshape(left.cut.bounds, (2, 2)), axis=0)
    assert f"too short by about {(min(length, width) + 3) / 1000:.2f} m" in found.message
    assert found.ply_id == left.ply_id
    assert result.estimate is None  # without the twill the sum would be too small
    names = {file.name for file in tmp_path.iterdir()}
    assert names == FILES - {"estimate.csv"}
    assert set(stored_layouts(tmp_path)) == {plain.id}
    assert [roll["fabric"] for roll in read_index(tmp_path)["rolls"]] == [plain.id]


def test_too_many_sheets_leave_out_the_paper_only(tmp_path):
    paper = PaperSettings(most_sheets=1)
    job = dish_job(settings=Settings(paper=paper, nest=NestSettings(seconds=1)))

    result = run(job)
    deliver(result, job, tmp_path)

    (found,) = [one for one in result.findings if one.code == "too_many_sheets"]
    assert "1 are allowed. No templates are written." in found.message
    assert "larger paper" in found.hint
    assert {file.name for file in tmp_path.iterdir()} == FILES - {"templates.pdf"}


def test_a_mould_that_stops_the_work_stops_every_roll(dish_run):
    """Any stop but those of one cloth is about the part: no cloth is to be cut for it."""
    job, result, _ = dish_run
    stop = Finding(code="some_stop", severity="stop", message="The part cannot be made.")

    files = files_of(replace(result, findings=(stop,)), job)

    assert not {"roll.dxf", "roll.svg", "layouts.json"} & set(files)


@pytest.mark.parametrize(
    ("cloth", "radius"), [("glass_twill_163", 3.0), ("carbon_twill_210", 3.1), ("chopped", 5.0)]
)
def test_the_mould_is_checked_against_the_radius_of_the_heaviest_cloth(cloth, radius):
    """3 mm to 200 g/m2, 5 mm from 400 g/m2 on: common practice, no source."""
    job = dish_job()
    library = load_fabrics()
    fabric = library.get(cloth) or replace(library["glass_twill_163"], areal_weight_gsm=450.0)
    plies = [replace(ply, fabric=fabric.id) for ply in job.plies]
    fabrics = {TWILL: library[TWILL], fabric.id: fabric}
    job = replace(job, fabrics=tuple(fabrics.values()), plies=tuple(plies))
    courses = Stack.of(job.plies, job.settings.laminate).courses(fabrics, job.settings.laminate)

    assert mould_settings(job, courses).cloth_radius_mm == pytest.approx(radius)
    given = replace(job.settings, mould=MouldSettings(cloth_radius_mm=4.5))
    assert mould_settings(replace(job, settings=given), courses).cloth_radius_mm == 4.5


def test_the_cut_list_counts_all_kits(dish_run):
    """What is laid on the roll for two kits and one of the other hand, counted there."""
    job, _, _ = dish_run
    job = replace(job, settings=Settings(nest=NestSettings(seconds=0, kits=2, mirrored_kits=1)))
    result = run(job)

    text = files_of(result, job)["cut_list.csv"].decode("utf-8-sig")

    laid = [place for sheet in result.nests[TWILL].sheets for place in sheet.placements]
    for row in csv.DictReader(io.StringIO(text)):
        mine = [place for place in laid if place.piece == row["piece"]]
        assert int(row["to cut"]) == len(mine) == 3 * int(row["in one kit"])
        assert int(row["of these other hand"]) == sum(place.other_hand for place in mine)


def test_a_stored_layout_gives_the_same_bytes(tmp_path):
    """The search is cut off by time; its layout is kept while its inputs are the same."""
    job = dish_job(settings=Settings(nest=NestSettings(seconds=1.0)))
    result = run(job)
    deliver(result, job, tmp_path)

    again = run(job, stored=stored_layouts(tmp_path))

    first = {name: (tmp_path / name).read_bytes() for name in FILES - {"result.json"}}
    assert files_of(again, job) == first
    assert summary(again, job)["rolls"] == read_index(tmp_path)["rolls"]


def test_nothing_outside_the_job_changes_a_byte(tmp_path):
    """Hash seed, locale, time zone and folder of the process."""
    save_job(dish_job(), tmp_path / "job")
    sums = []
    for number, extra in enumerate(
        [
            {"PYTHONHASHSEED": "1", "TZ": "UTC", "LC_ALL": "C"},
            {"PYTHONHASHSEED": "2", "TZ": "Pacific/Auckland", "LC_ALL": "de_DE.UTF-8"},
        ]
    ):
        out = tmp_path / f"out{number}"
        (tmp_path / f"cwd{number}").mkdir()
        subprocess.run(
            [sys.executable, "-m", "flatten", "run", tmp_path / "job", "--out", out],
            cwd=tmp_path / f"cwd{number}", env={**os.environ, "PYTHONPATH": str(ROOT), **extra},
            check=True, capture_output=True,
        )  # fmt: skip
        sums.append(read_index(out)["files"])

    assert sums[0] == sums[1]


def test_work_can_be_stopped():
    def stop(share, what):
        if share > 0.3:
            raise Cancelled

    with pytest.raises(Cancelled):
        run(dish_job(), progress=stop)


def closed_box():
    corner = np.array([[x, y, z] for x in (0, 50) for y in (0, 50) for z in (0, 50)], float)
    quads = [[0, 1, 3, 2], [4, 6, 7, 5], [0, 4, 5, 1], [2, 3, 7, 6], [0, 2, 6, 4], [1, 5, 7, 3]]
    return MouldMesh(corner, [t for a, b, c, d in quads for t in ([a, b, c], [a, c, d])])


def on(mould, faces):
    return dish_job(mould=mould, plies=(Ply(id="p", name="skin", faces=faces, fabric=TWILL),))


def two_pieces():
    mould, inside, outside = dish()
    return on(mould, [inside[0], outside[0]])


def three_on_an_edge():
    vertices = [[0, 0, 0], [50, 0, 0], [0, 50, 0], [0, -50, 0], [0, 0, 50]]
    return on(MouldMesh(vertices, [[0, 1, 2], [1, 0, 3], [0, 1, 4]]), [0, 1, 2])


def without_area():
    vertices = [[0, 0, 0], [50, 0, 0], [0, 50, 0], [25, 0, 0]]
    return on(MouldMesh(vertices, [[0, 1, 2], [0, 3, 1]]), [0, 1])


@pytest.mark.parametrize(
    ("job", "reason"),
    [
        (two_pieces, "2 pieces"),
        (lambda: on(closed_box(), range(12)), "closed all round"),
        (three_on_an_edge, "shared by three"),
        (without_area, "no area"),
        (lambda: on(dish()[0], []), "no faces"),
        (lambda: MouldMesh([[0, 0, np.nan]] * 3, [[0, 1, 2]]), "finite"),
        (lambda: dish_job(fabrics=()), "not in the job"),
    ],
)
def test_what_cannot_be_worked_out_is_named_with_a_way_out(job, reason):
    with pytest.raises(FlattenError, match=reason) as told:
        run(job(), upto="patterns")
    assert isinstance(told.value, InputError)
    assert told.value.hint


def test_errors_of_a_ply_name_faces_of_the_mould():
    job = two_pieces()
    with pytest.raises(InputError) as told:
        run(job, upto="patterns")
    assert set(told.value.faces) <= set(job.plies[0].faces.tolist())
    assert told.value.faces


def test_every_cloth_of_the_library_can_be_laid():
    mould, inside, _ = dish(cells=8)
    for fabric in load_fabrics().values():
        ply = Ply(id="p", name="skin", faces=inside, fabric=fabric.id, angle_deg=20)
        job = dish_job(
            mould=mould, plies=(ply,), fabrics=(fabric,), settings=Settings(edge_mm=12.0)
        )
        laid = Stack.of(job.plies, job.settings.laminate).laid[0]
        pieces = lay_ply(job, laid, np.zeros(len(mould.faces)), silent).pieces
        pattern = pieces[0].pattern
        assert pattern.net.area == pytest.approx(pattern.mould_area_mm2, rel=0.05), fabric.id


def test_files_are_written_as_the_settings_say():
    """R12, one file a piece, cut lines only."""
    job = dish_job()
    asked = FileSettings(dxf="R12", one_file_per_piece=True, only_cut_lines=True)
    job = replace(job, settings=replace(job.settings, files=asked))
    result = run(job)

    files = files_of(result, job)

    verify(result, files, settings=asked)
    assert b"AC1009" in files["patterns.dxf"]
    assert {"piece p1.dxf", "piece p2.dxf"} <= set(files)
    lines = dxf_lines(files["piece p1.dxf"])
    assert [line.layer for line in lines if line.closed] == ["CUT"]
    assert b"NET_LINE" not in files["piece p1.dxf"].split(b"ENTITIES")[-1]


def test_an_engraved_mould_is_closed_and_a_little_lighter(tmp_path):
    """Grooves take away, at most, their length x width x depth."""
    job = tray_job()
    result = run(job, upto="patterns")

    (tmp_path / "m.stl").write_bytes(engraved_mould(result, job))
    mesh = read_stl(tmp_path / "m.stl").mesh

    groove = job.settings.files.groove_width_mm * job.settings.files.groove_depth_mm
    rim = 2 * (330 + 230)  # mm, more than the outline's length
    taken = volume_mm3(job.mould) - volume_mm3(mesh)
    assert (mesh.edges.count == 2).all()
    assert not mesh.edges.flipped.any()
    assert 0 < taken < groove * rim
