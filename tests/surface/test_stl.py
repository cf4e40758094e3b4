"""STL and welding: read as written, refused when cut short, too large or not STL."""

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal
from surface.parts import block, euler, torus, trough

from flatten.errors import InputError
from flatten.surface import stl
from flatten.surface.stl import read_stl, stl_bytes
from flatten.surface.weld import weld


def loose(mesh):
    """Every face with corners of its own, as STL has them."""
    return mesh.corners.reshape(-1, 3), np.arange(3 * len(mesh.faces)).reshape(-1, 3)


def test_binary_is_read_back_welded(tmp_path):
    mesh = torus()
    (tmp_path / "ring.stl").write_bytes(stl_bytes(mesh))

    read = read_stl(tmp_path / "ring.stl")

    assert len(read.mesh.vertices) == len(mesh.vertices)
    assert euler(read.mesh.faces) == 0
    assert_allclose(read.mesh.corners, mesh.corners, atol=1e-5)
    assert not len(read.dropped)


@pytest.mark.parametrize("kind", ["stl", "stl_ascii"])
def test_files_of_an_independent_writer_are_read(tmp_path, kind):
    """Trimesh 4 writes both kinds."""
    mesh = trough(8, 5)
    other = trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)
    data = other.export(file_type=kind)
    (tmp_path / "t.stl").write_bytes(data if isinstance(data, bytes) else data.encode())

    read = read_stl(tmp_path / "t.stl").mesh

    assert_allclose(read.corners, mesh.corners, atol=1e-4)
    assert len(read.vertices) == len(mesh.vertices)


def test_an_independent_reader_reads_ours(tmp_path):
    (tmp_path / "b.stl").write_bytes(stl_bytes(block(100)))

    other = trimesh.load_mesh(tmp_path / "b.stl")

    assert other.is_watertight
    assert other.volume == pytest.approx(1e6, rel=1e-6)


def test_text_longer_than_a_chunk_is_read_whole(tmp_path, monkeypatch):
    mesh = torus()
    text = trimesh.Trimesh(mesh.vertices, mesh.faces, process=False).export(file_type="stl_ascii")
    (tmp_path / "t.stl").write_text(text)
    monkeypatch.setattr(stl, "CHUNK", 997)

    assert_allclose(read_stl(tmp_path / "t.stl").mesh.corners, mesh.corners, atol=1e-4)


def test_a_binary_header_may_begin_with_solid(tmp_path):
    (tmp_path / "s.stl").write_bytes(b"solid block".ljust(80) + stl_bytes(block())[80:])

    assert len(read_stl(tmp_path / "s.stl").mesh.faces) == 12


def test_faces_that_shrank_to_a_line_are_dropped(tmp_path):
    corners, faces = loose(block())
    corners = np.vstack([corners, [[0, 0, 0], [0, 0, 0], [100, 0, 0]]])
    faces = np.vstack([faces, [[36, 37, 38]]])

    welded = weld(corners, faces)

    assert_array_equal(welded.dropped, [12])
    assert_array_equal(welded.source_faces, np.arange(12))
    assert len(welded.mesh.vertices) == 8
    assert (welded.mesh.edges.count == 2).all()


def bytes_of(faces, *, count=None, cut=0):
    data = b" " * 80 + (len(faces) if count is None else count).to_bytes(4, "little")
    records = np.zeros(len(faces), stl.RECORD_TYPE)
    records["corners"] = np.reshape(faces, (-1, 3, 3))
    body = data + records.tobytes()
    return body[: len(body) - cut]


TRIANGLE = [[0, 0, 0], [10, 0, 0], [0, 10, 0]]


@pytest.mark.parametrize(
    ("data", "reason"),
    [
        (bytes_of([TRIANGLE] * 3, cut=20), "says it has 3 triangles"),
        (bytes_of([TRIANGLE], count=4_000_000_000), "4000000000 triangles"),
        (bytes_of([]), "no triangles"),
        (bytes_of([[[0, 0, np.nan], [1, 0, 0], [0, 1, 0]]]), "not finite, the first is 0"),
        (b"", "not an STL file"),
        (b"PK\x03\x04 something else", "not an STL file"),
        (b"solid\nfacet\nvertex 0 0 0\nvertex 1 0 0\n", "cut short"),
        (b"solid\nvertex 0 0\nvertex 1 0 0\nvertex 0 1 0\n", "three numbers: '0 0'"),
        (b"solid\nvertex 0 0 x\n", "three numbers: '0 0 x'"),
        (b"solid\nvertex 0 0 0\nvertex 1 0 nan\nvertex 0 1 0\n", "not finite"),
        (b"solid nothing\nendsolid\n", "no triangles"),
    ],
)
def test_a_bad_file_is_refused(tmp_path, data, reason):
    (tmp_path / "bad.stl").write_bytes(data)

    with pytest.raises(InputError, match=reason):
        read_stl(tmp_path / "bad.stl")


def test_a_missing_file_is_told(tmp_path):
    with pytest.raises(InputError, match="no file"):
        read_stl(tmp_path / "none.stl")
    with pytest.raises(InputError, match="no file"):
        read_stl(tmp_path)


def test_a_file_of_too_many_triangles_is_refused_before_it_is_read(tmp_path, monkeypatch):
    (tmp_path / "b.stl").write_bytes(stl_bytes(block()))
    monkeypatch.setattr(stl, "MOST_FACES", 12)
    assert len(read_stl(tmp_path / "b.stl").mesh.faces) == 12
    monkeypatch.setattr(stl, "MOST_FACES", 11)

    with pytest.raises(InputError, match="million triangles"):
        read_stl(tmp_path / "b.stl")


@pytest.mark.parametrize(("gap", "vertices"), [(0.9e-3, 8), (1.1e-3, 36)])
def test_the_tolerance_joins_what_is_nearer_and_nothing_else(gap, vertices):
    """Each copy of a corner is moved outwards along x by its own multiple: apart by the gap."""
    corners, faces = loose(block())
    order = np.lexsort(corners.T)
    rank = np.zeros(len(corners))
    same = np.concatenate([[False], (np.diff(corners[order], axis=0) == 0).all(axis=1)])
    for k in range(1, len(order)):
        rank[order[k]] = rank[order[k - 1]] + 1 if same[k] else 0
    corners = corners + np.column_stack([rank * gap, 0 * rank, 0 * rank])

    assert len(weld(corners, faces, 1e-3).mesh.vertices) == vertices


@settings(max_examples=30)
@given(seed=st.integers(0, 10_000))
def test_welding_undoes_any_order_of_faces_and_tiny_noise(seed):
    rng = np.random.default_rng(seed)
    mesh = torus()
    corners = mesh.corners[rng.permutation(len(mesh.faces))]
    noisy = corners.reshape(-1, 3) + rng.uniform(-1, 1, (corners.size // 3, 3)) * 1e-4

    welded = weld(noisy, np.arange(len(noisy)).reshape(-1, 3))

    assert len(welded.mesh.vertices) == len(mesh.vertices)
    assert euler(welded.mesh.faces) == 0
    assert_allclose(welded.mesh.corners, corners, atol=3e-4)
    assert_array_equal(noisy[welded.source_vertices], welded.mesh.vertices)
    assert_allclose(welded.mesh.vertices[welded.vertex_of], noisy, atol=4e-4)


@pytest.mark.parametrize("tolerance_mm", [-1.0, float("nan"), float("inf")])
def test_a_tolerance_that_is_none_is_refused(tolerance_mm):
    with pytest.raises(InputError, match="welding distance"):
        weld(*loose(block()), tolerance_mm)


def test_a_tolerance_that_leaves_nothing_is_refused():
    with pytest.raises(InputError, match="leaves none of 12 faces"):
        weld(*loose(block(100)), 500)
