"""Cuts: areas add up, edges know their kind, bad cuts are refused with their faces.

Longer than most files: areas and edge kinds of every kind of cut, good and bad.
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal
from surface.parts import (
    block,
    edge_lengths,
    euler,
    everything,
    moved,
    plate,
    torus,
    trough,
    tube,
    within,
)

from flatten.errors import InputError
from flatten.surface.cut import Cut, SeamJoint, cut
from flatten.surface.mesh import MouldMesh
from flatten.surface.region import Region


def drawn(kind, *points, name="c1", **options):
    path = [(*point, 0) if len(point) == 2 else point for point in points]
    return Cut(id=name, kind=kind, path=path, **options)


def column(cells, at):
    """Seam edges up a plate of `cells`, along its column of vertices `at`."""
    low = np.arange(cells) * (cells + 1) + at
    return np.column_stack([low, low + cells + 1])


def area(patches):
    return sum(patch.surface.areas.sum() for patch in patches)


def joint_length(patch, number):
    return edge_lengths(patch)[patch.edge_joints == number].sum()


def test_a_whole_region_is_one_patch_that_knows_its_source():
    mesh = plate(10)
    region = within(mesh, (20, 20), (80, 60))

    (patch,) = cut(mesh, region)

    assert_array_equal(patch.source_faces, region.faces)
    assert_array_equal(patch.surface.vertices, mesh.vertices[patch.source_vertices])
    assert_array_equal(patch.source_vertices[patch.surface.faces], mesh.faces[region.faces])
    assert patch.inside.all()
    assert set(patch.edge_kinds) == {"trim"}
    assert edge_lengths(patch).sum() == pytest.approx(200, rel=1e-12)
    assert len(patch.loops) == 1


def test_boundary_edges_have_the_patch_on_their_left():
    (patch,) = cut(plate(4), everything(plate(4)))
    ends = patch.surface.vertices[patch.edge_vertices]

    enclosed = 0.5 * (ends[:, 0, 0] * ends[:, 1, 1] - ends[:, 1, 0] * ends[:, 0, 1]).sum()

    assert enclosed == pytest.approx(10_000, rel=1e-12)


def test_the_edge_round_an_opening_is_a_hole_and_the_outer_loop_comes_first():
    mesh = plate(10)
    opening = within(mesh, (40, 40), (60, 60))

    (patch,) = cut(mesh, Region("ring", np.setdiff1d(np.arange(200), opening.faces)))

    outer, inner = patch.loops
    assert {patch.edge_kinds[k] for k in outer} == {"trim"}
    assert {patch.edge_kinds[k] for k in inner} == {"hole"}
    assert edge_lengths(patch)[inner].sum() == pytest.approx(80, rel=1e-12)
    assert euler(patch.surface.faces) == 0


def test_a_seam_from_rim_to_rim_is_a_splice_with_two_equal_sides():
    mesh = plate(10)

    left, right = cut(mesh, everything(mesh), seams=column(10, 3))

    assert left.joints == right.joints
    assert [(joint.number, joint.kind) for joint in left.joints] == [(0, "splice")]
    assert_allclose([left.surface.areas.sum(), right.surface.areas.sum()], [3000, 7000])
    assert joint_length(left, 0) == joint_length(right, 0) == pytest.approx(100, rel=1e-12)
    # The seam runs from its lower vertex up, so the left-hand piece runs under.
    assert {k for k, j in zip(left.edge_kinds, left.edge_joints, strict=True) if j == 0} == {
        "lap_under"
    }
    assert {k for k, j in zip(right.edge_kinds, right.edge_joints, strict=True) if j == 0} == {
        "lap_over"
    }


def test_a_seam_that_ends_inside_is_a_dart_open_to_its_tip():
    mesh = plate(10)

    (patch,) = cut(mesh, everything(mesh), seams=column(10, 3)[:4])

    assert [joint.kind for joint in patch.joints] == ["dart"]
    assert joint_length(patch, 0) == pytest.approx(80, rel=1e-12)
    assert len(patch.surface.vertices) == 121 + 4
    assert len(patch.loops) == 1
    assert sorted(set(patch.edge_kinds)) == ["lap_over", "lap_under", "trim"]


def test_butted_seams_are_butted_on_both_sides():
    mesh = plate(10)
    patches = cut(
        mesh, everything(mesh), seams=column(10, 3), seam_joint=SeamJoint(joint="butt", lap_mm=0)
    )

    kinds = [k for p in patches for k, j in zip(p.edge_kinds, p.edge_joints, strict=True) if j == 0]

    assert set(kinds) == {"butt"}


def test_seams_outside_the_region_and_on_its_rim_do_nothing():
    mesh = plate(10)
    region = within(mesh, (20, 20), (60, 60))

    (patch,) = cut(mesh, region, seams=[*column(10, 2), *column(10, 8)])

    assert patch.joints == ()
    assert set(patch.edge_kinds) == {"trim"}


def test_a_cross_of_seams_gives_four_pieces_and_four_joints():
    mesh = plate(10)
    across = np.column_stack([np.arange(10), np.arange(1, 11)]) + 5 * 11

    patches = cut(mesh, everything(mesh), seams=[*column(10, 5), *across])

    assert [patch.surface.areas.sum() for patch in patches] == pytest.approx([2500] * 4)
    assert {joint.kind for joint in patches[0].joints} == {"splice"}
    assert len(patches[0].joints) == 4
    assert all(len(set(patch.edge_joints)) == 3 for patch in patches)


def test_a_drawn_splice_cuts_the_triangles_where_it_runs():
    """The line from (0, 33) to (100, 47) parts the square into 4000 and 6000 mm2."""
    mesh = plate(5)

    below, above = cut(mesh, everything(mesh), [drawn("splice", (0, 33), (100, 47))])

    assert below.surface.areas.sum() == pytest.approx(4000, abs=1e-6)
    assert above.surface.areas.sum() == pytest.approx(6000, abs=1e-6)
    for patch in (below, above):
        ends = patch.surface.vertices[patch.edge_vertices[patch.edge_joints == 0]]
        assert_allclose(ends[..., 1], 33 + 0.14 * ends[..., 0], atol=1e-9)
        assert joint_length(patch, 0) == pytest.approx(np.hypot(100, 14), rel=1e-12)
    # Seen from above, running along +x, the left is the upper piece: it runs under.
    assert "lap_under" in above.edge_kinds
    assert "lap_over" in below.edge_kinds


def test_the_side_that_runs_under_can_be_chosen():
    mesh = plate(5)

    below, above = cut(mesh, everything(mesh), [drawn("splice", (0, 33), (100, 47), under="right")])

    assert "lap_under" in below.edge_kinds
    assert "lap_over" in above.edge_kinds


def test_a_drawn_dart_ends_where_it_was_drawn_to():
    mesh = plate(5)

    (patch,) = cut(mesh, everything(mesh), [drawn("dart", (0, 33), (61, 47))])

    assert patch.surface.areas.sum() == pytest.approx(10_000, rel=1e-12)
    assert joint_length(patch, 0) == pytest.approx(2 * np.hypot(61, 14), rel=1e-9)
    ends = patch.surface.vertices[patch.edge_vertices[patch.edge_joints == 0]]
    assert ends[..., 0].max() == pytest.approx(61, abs=1e-9)
    assert patch.joints[0].cut_id == "c1"


def test_a_splice_drawn_beyond_the_rim_is_cut_off_at_it():
    mesh = plate(10)
    region = within(mesh, (20, 20), (80, 80))

    patches = cut(mesh, region, [drawn("splice", (2, 43), (50, 47), (97, 51))])

    assert area(patches) == pytest.approx(3600, rel=1e-12)
    assert [joint_length(patch, 0) for patch in patches] == pytest.approx(
        [2 * np.hypot(30, 2.5)] * 2, abs=0.2
    )


def test_a_splice_drawn_nearly_to_the_rim_is_led_on_to_it():
    mesh = plate(5)

    patches = cut(mesh, everything(mesh), [drawn("splice", (4, 40), (96, 40))])

    assert [joint_length(patch, 0) for patch in patches] == pytest.approx([100, 100], rel=1e-9)


def test_a_cut_near_a_vertex_goes_through_it_instead_of_leaving_a_needle():
    mesh = plate(10)
    smallest = []
    for off in (0.05, 2):
        patches = cut(mesh, everything(mesh), [drawn("splice", (0, 40 + off), (100, 40 + off))])
        smallest.append(min(patch.surface.areas.min() for patch in patches))

    assert smallest[0] == pytest.approx(50, rel=1e-12)
    assert smallest[1] < 15


def test_a_seam_opens_a_closed_tube_and_a_ring_seam_parts_it():
    mesh = tube(50, 90, 12, 3)
    up = np.column_stack([np.arange(3) * 12, np.arange(1, 4) * 12])
    round_it = np.column_stack([np.arange(12), (np.arange(12) + 1) % 12]) + 12

    (opened,) = cut(mesh, everything(mesh), seams=up)
    parted = cut(mesh, everything(mesh), seams=round_it)

    assert euler(opened.surface.faces) == 1
    assert [joint.kind for joint in opened.joints] == ["splice"]
    assert len(parted) == 2
    assert [joint.kind for joint in parted[0].joints] == ["splice"]


def test_a_drawn_slit_opens_a_closed_block_and_a_drawn_ring_parts_it():
    mesh = block(100)
    over = [(50, 10, 100), (50, 0, 50), (50, 10, 0)]
    ring = [(0, 30, 50), (50, 30, 100), (100, 30, 50), (50, 30, 0), (0, 30, 50)]

    (opened,) = cut(mesh, everything(mesh), [drawn("splice", *over)])
    parts = cut(mesh, everything(mesh), [drawn("splice", *ring)])

    assert euler(opened.surface.faces) == 1
    assert edge_lengths(opened).sum() == pytest.approx(2 * 120, rel=1e-9)
    assert sorted(p.surface.areas.sum() for p in parts) == pytest.approx([22_000, 38_000])
    assert all(joint_length(p, 0) == pytest.approx(400, rel=1e-9) for p in parts)


def test_a_drawn_ring_and_a_splice_open_a_handle():
    mesh = torus()
    region = Region("ring", np.arange(1, len(mesh.faces)))
    u = np.radians(5 * 15)
    ring = [
        ((50 + 20 * np.cos(v)) * np.cos(u), (50 + 20 * np.cos(v)) * np.sin(u), 20 * np.sin(v))
        for v in np.radians(np.arange(0, 361, 30))
    ]

    with pytest.raises(InputError, match="handle"):
        cut(mesh, region)
    (patch,) = cut(mesh, region, [Cut(id="c", kind="splice", path=ring)])

    assert euler(patch.surface.faces) == -1  # a tube with an opening
    assert len(patch.loops) == 3


def test_patches_come_in_the_same_order_and_the_same_to_the_last_bit():
    mesh = trough(8, 6)
    cuts = [drawn("splice", (150, 0, 40), (160, 50, 0), (150, 100, 40))]

    first, second = (cut(mesh, everything(mesh), cuts) for _ in range(2))

    assert [patch.source_faces.min() for patch in first] == sorted(
        patch.source_faces.min() for patch in first
    )
    for one, two in zip(first, second, strict=True):
        assert_array_equal(one.surface.vertices, two.surface.vertices)
        assert_array_equal(one.surface.faces, two.surface.faces)


@settings(max_examples=25)
@given(
    start=st.floats(5, 95),
    end=st.floats(5, 95),
    cells=st.integers(1, 12),
    seed=st.integers(0, 1000),
)
def test_areas_add_up_and_both_sides_of_a_splice_are_equally_long(start, end, cells, seed):
    flat = plate(cells)
    turn, shift = moved(flat, seed)
    mesh = MouldMesh(flat.vertices @ turn.T + shift, flat.faces)
    path = np.array([[0, start, 0], [100, end, 0]]) @ turn.T + shift

    below, above = cut(mesh, everything(mesh), [Cut(id="c", kind="splice", path=path)])

    assert area([below, above]) == pytest.approx(10_000, rel=1e-9)
    # Snapped to vertices within 0.1 mm, so the line strays by no more than that.
    assert below.surface.areas.sum() == pytest.approx(50 * (start + end), abs=15)
    assert joint_length(below, 0) == pytest.approx(joint_length(above, 0), rel=1e-9)
    assert joint_length(below, 0) == pytest.approx(np.hypot(100, end - start), abs=0.2)
    for patch in (below, above):
        assert euler(patch.surface.faces) == 1
        assert set(patch.source_faces) <= set(range(2 * cells * cells))


@pytest.mark.parametrize(
    ("cuts", "reason"),
    [
        ([drawn("splice", (0, 33), (60, 47))], "40 mm short of the edge"),
        ([drawn("dart", (0, 33), (100, 47))], "longer than the piece"),
        ([drawn("dart", (0, 33), (130, 47))], "30 mm outside the piece"),
        ([drawn("dart", (40, 33), (60, 33))], "short of the edge"),
        ([drawn("splice", (0, 33), (70, 47), (50, 70), (30, 10), (100, 5))], "touches itself"),
        ([drawn("splice", (0, 33), (70, 33), (30, 33), (100, 60))], "touches itself"),
        ([drawn("splice", (0, 0.5), (100, 0.5))], "sliver of cloth, 1.0 mm wide"),
        ([drawn("splice", (0, 140), (100, 140))], "point of Cut 'c1' lies 40.0 mm off"),
        ([drawn("splice", (0, 40), (50, 130), (100, 40))], "leaves the ply's region"),
        (
            [drawn("splice", (0, 40), (100, 40)), drawn("splice", (0, 40), (100, 40), name="c2")],
            "'c2' runs along another cut",
        ),
        ([drawn("splice", (0, 40), (0, 60))], "runs along the edge"),
    ],
)
def test_a_bad_cut_is_refused(cuts, reason):
    mesh = plate(5)
    with pytest.raises(InputError, match=reason) as refused:
        cut(mesh, everything(mesh), cuts)
    assert set(refused.value.faces) <= set(range(50))


def test_a_cut_elsewhere_on_the_mould_is_refused():
    mesh = plate(10)
    with pytest.raises(InputError, match="does not touch the ply's region"):
        cut(mesh, within(mesh, (0, 0), (100, 40)), [drawn("splice", (0, 80), (100, 80))])


def test_a_splice_drawn_right_across_from_outside_to_outside_is_cut_off_at_both_rims():
    mesh = plate(10)

    patches = cut(mesh, within(mesh, (40, 0), (60, 100)), [drawn("splice", (5, 45), (95, 45))])

    assert [patch.surface.areas.sum() for patch in patches] == pytest.approx([900, 1100])


@pytest.mark.parametrize(
    ("options", "reason"),
    [
        ({"kind": "slot"}, "kind is 'slot'"),
        ({"joint": "glue"}, "joint is 'glue'"),
        ({"under": "up"}, "under is 'up'"),
        ({"lap_mm": -1}, "lap is -1"),
        ({"lap_mm": float("nan")}, "lap is nan"),
        ({"path": [[0, 0, 0]]}, "no length"),
        ({"path": [[1, 2, 3], [1, 2, 3]]}, "no length"),
        ({"path": [[1, 2, 3], [1, 2, np.nan]]}, "finite"),
    ],
)
def test_a_cut_is_made_valid_or_not_at_all(options, reason):
    good = {"id": "c1", "kind": "splice", "path": [[0, 0, 0], [1, 0, 0]]}
    Cut(**good)
    with pytest.raises(InputError, match=reason):
        Cut(**{**good, **options})


def test_cuts_are_equal_by_value():
    one, two = (drawn("splice", (0, 1), (2, 3)) for _ in range(2))

    assert one == two
    assert hash(one) == hash(two)
    assert one != drawn("splice", (0, 1), (2, 4))


def test_a_closed_region_says_where_a_cut_would_open_it():
    with pytest.raises(InputError, match=r"closed all round.*from \(.*\) to \(.*\) mm") as refused:
        cut(block(), everything(block()))
    assert len(refused.value.faces) >= 2


def test_a_handle_says_where_a_cut_would_open_it_and_that_cut_does():
    mesh = torus()
    region = Region("ring", np.arange(1, len(mesh.faces)))

    with pytest.raises(InputError, match="handle of a cup") as refused:
        cut(mesh, region)

    assert 0 < len(refused.value.faces) < len(mesh.faces) / 3
    across = np.arange(12) * 24 + 5
    around = np.arange(24) + 5 * 24
    loops = [np.column_stack([loop, np.roll(loop, -1)]) for loop in (across, around)]
    (patch,) = cut(mesh, region, seams=np.concatenate(loops))
    assert euler(patch.surface.faces) == 0


def test_a_seam_that_comes_back_to_its_own_middle_is_refused():
    """A lasso: from the rim to (3, 3), round a square and back there."""
    mesh = plate(10)
    row = 11
    way = [3, 3 + row, 3 + 2 * row, 3 + 3 * row]
    square = [3 + 3 * row, 5 + 3 * row, 5 + 5 * row, 3 + 5 * row]
    loop = []
    for a, b in zip(square, [*square[1:], square[0]], strict=False):
        step = (1 if abs(b - a) < row else row) * (1 if b > a else -1)
        loop += list(range(a, b, step))
    chain = [*way, *loop[1:], way[-1]]

    with pytest.raises(InputError, match="seam touches itself") as refused:
        cut(mesh, everything(mesh), seams=np.column_stack([chain[:-1], chain[1:]]))
    assert refused.value.faces


@pytest.mark.parametrize(
    ("seams", "reason"),
    [([(0, 500)], "names vertex 500"), ([(0, 60)], "not an edge of the mould"), ([0, 1], "shape")],
)
def test_seams_of_another_mould_are_refused(seams, reason):
    mesh = plate(10)
    with pytest.raises(InputError, match=reason):
        cut(mesh, everything(mesh), seams=seams)


def test_faults_of_the_mould_are_told_by_its_own_face_numbers():
    flat = plate(4)
    faces = np.vstack([flat.faces, [[6, 7, 24]], [[2, 2, 3]]])
    mesh = MouldMesh(flat.vertices, faces)

    cut(mesh, Region("sound", np.arange(32)))
    with pytest.raises(InputError, match="three faces") as shared:
        cut(mesh, Region("crowded", range(33)))
    assert 32 in shared.value.faces
    assert len(shared.value.faces) == 3
    with pytest.raises(InputError, match="no area, the first is 33") as thin:
        cut(mesh, Region("thin", [*range(32), 33]))
    assert thin.value.faces == (33,)
