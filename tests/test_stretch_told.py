"""How far fibres stretch is told alike wherever it is told: of threads as they curve.

A cap of 75 degrees, R 150: in its net no thread stretches (Chebyshev 1878), and straight triangles
would tell over 1 %, which is a finding.
"""

import base64

import numpy as np
import pytest
from numpy.testing import assert_array_equal
from sample_jobs import TWILL, dish_job
from shapes import irregular_cap

from flatten.answer_parts import answer_of
from flatten.cloth.library import load_fabrics
from flatten.commands.page_arrays import pieces_of
from flatten.deliver import deliver
from flatten.folder import read_index
from flatten.job import Settings
from flatten.laminate.ply import Ply
from flatten.nest.settings import NestSettings
from flatten.packed import read_arrays
from flatten.run import run
from flatten.surface.mesh import MouldMesh
from flatten.surface.rosette import Rosette

TOLD, STRAIGHT = 0.005, 0.01  # at most by us; at least by straight triangles


@pytest.fixture(scope="module")
def cap_run(tmp_path_factory):
    mesh = irregular_cap(150, 75, 3000)
    job = dish_job(
        mould=MouldMesh(mesh.vertices, mesh.faces),
        plies=(Ply(id="p1", name="skin", faces=np.arange(len(mesh.faces)), fabric=TWILL,
                   tack_mm=[0, 0, 150]),),
        rosette=Rosette([0, 0, 150], [1, 0, 0], [0, 0, 1]),
        settings=Settings(nest=NestSettings(seconds=0.0), edge_mm=1000.0),
    )  # fmt: skip
    folder = tmp_path_factory.mktemp("cap")
    result = run(job)
    deliver(result, job, folder)
    return job, result, folder


def test_the_result_and_its_findings_tell_no_stretch(cap_run):
    _, result, folder = cap_run
    facts = read_index(folder)
    (piece,) = result.pieces

    inside = piece.patch.inside[piece.drape.fine.source_faces]
    assert np.abs(piece.drape.fine.strain[inside, :2]).max() > STRAIGHT
    assert 0 < facts["plies"][0]["max_fibre_strain"] < TOLD
    codes = {found["code"] for found in facts["findings"]}
    assert "drape_locked" not in codes
    assert "drape_fibre_stretch" not in codes


def test_what_is_coloured_tells_no_stretch(cap_run):
    """The answer that the sidebar's map is painted from."""
    job, result, _ = cap_run
    ((_, arrays),) = answer_of(job, result.pieces, [], result=result).pieces()

    strain = arrays["strain_percent"][arrays["inside"]]
    assert 0 < np.abs(strain).max() < 100 * TOLD
    warp, weft = 100 * result.pieces[0].drape.fine.stretch[arrays["inside"]].T
    assert_array_equal(strain, np.where(np.abs(weft) > np.abs(warp), weft, warp))  # with its sign


def test_across_the_fibres_no_stretch_is_coloured():
    """A unidirectional cloth may spread across its fibres; that is no stretch along them."""
    mesh = irregular_cap(150, 45, 1500)
    cloth = next(f for f in load_fabrics().values() if f.kind == "unidirectional")
    job = dish_job(
        mould=MouldMesh(mesh.vertices, mesh.faces),
        plies=(Ply(id="p1", name="skin", faces=np.arange(len(mesh.faces)), fabric=cloth.id,
                   tack_mm=[0, 0, 150]),),
        rosette=Rosette([0, 0, 150], [1, 0, 0], [0, 0, 1]),
        fabrics=(cloth,),
        settings=Settings(nest=NestSettings(seconds=0.0), edge_mm=1000.0),
    )  # fmt: skip
    result = run(job)
    ((_, arrays),) = answer_of(job, result.pieces, [], result=result).pieces()

    along, across = 100 * np.abs(result.pieces[0].drape.fine.stretch).T
    assert across.max() > 5 * along.max()
    assert_array_equal(np.abs(arrays["strain_percent"]), along)


def test_the_page_shows_no_stretch_and_of_older_results_what_they_hold(cap_run):
    _, _, folder = cap_run
    facts, arrays = read_index(folder), read_arrays(folder / "drape.npz")
    name = facts["pieces"][0]["id"]

    (shown,) = pieces_of(facts, [], arrays)
    older = {key: array for key, array in arrays.items() if key != f"{name}/stretch"}
    (before,) = pieces_of(facts, [], older)

    assert 0 < max(shown["most"]["warp"], shown["most"]["weft"]) < 100 * TOLD
    assert max(before["most"]["warp"], before["most"]["weft"]) > 100 * STRAIGHT
    assert shown["most"]["shear"] == before["most"]["shear"] > 30
    assert _column(shown["maps"]["weft"]).max() < 100 * TOLD
    assert shown["maps"]["shear"] == before["maps"]["shear"]


def _column(column):
    steps = np.frombuffer(base64.b64decode(column["data"]), "<u2")
    return column["low"][0] + steps * column["step"]
