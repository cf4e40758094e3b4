"""All checks together: a printed sample with known faults, and meshes nobody should send.

Longer than most files: one mould, every check.
"""

from dataclasses import fields

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from mould.moulds import any_turn, bowl, box, joined, moved, pot, torus
from numpy.testing import assert_allclose, assert_array_equal

from flatten.errors import Cancelled, InputError
from flatten.finding import SEVERITIES
from flatten.mould.check import MouldPart, check_mould
from flatten.mould.settings import MouldSettings
from flatten.surface.mesh import MouldMesh

LAYUP = ("floor", "wall", "lip_under", "lip_inside")
UP = (0.0, 0.0, 1.0)


def by_code(report):
    codes = [finding.code for finding in report.findings]
    assert len(set(codes)) == len(codes)
    return {finding.code: finding for finding in report.findings}


def faulty_pot():
    """The pot as a careless export: see each line."""
    mesh, where = pot()
    where = {name: faces.tolist() for name, faces in where.items()}
    faces = mesh.faces.copy()
    flipped = where["outside"][10:13]
    faces[flipped] = faces[flipped][:, ::-1]
    missing = where["bottom"][-1]
    doubled = where["flange"][5]
    sound = MouldMesh(mesh.vertices, np.vstack([faces, faces[doubled]]))
    peg = box([53, -2, 30], [60, 2, 34])  # stands half in the outside of the pot
    both, first = joined(sound, peg)
    keep = np.delete(np.arange(len(both.faces)), missing)
    number = np.full(len(both.faces), -1)
    number[keep] = np.arange(len(keep))
    loose = MouldMesh(
        both.vertices[both.faces[keep]].reshape(-1, 3), np.arange(3 * len(keep)).reshape(-1, 3)
    )
    where = {name: number[f][number[f] >= 0] for name, f in where.items()}
    return (
        loose,
        where,
        {
            "flipped": set(number[flipped].tolist()),
            "doubled": number[len(mesh.faces)],
            "peg": set(number[first[1] :].tolist()),
        },
    )


def test_the_printed_sample_is_found_fault_by_fault():
    """Thin floor (2 mm), sharp corner, 2-degree wall, lip that undercuts and traps, upright lip,
    lines across the pull, 10 mm flange; a hole, flipped faces, a doubled face, a peg through the
    wall, loose triangles."""
    mesh, where, faults = faulty_pot()
    layup = np.concatenate([where[name] for name in LAYUP])

    report = check_mould(mesh, MouldSettings(pull=UP), layup)
    found = by_code(report)

    def faces(code):
        return set(found[code].faces)

    def named(*names):
        return {int(face) for name in names for face in where[name]}

    assert set(found) == {
        "doubled_vertices",
        "open_edges",
        "flipped_faces",
        "doubled_faces",
        "crowded_edges",
        "self_crossing",
        "thin_wall",
        "undercut",
        "trapped",
        "low_draft",
        "part_line",
        "layer_ridges",
        "sharp_corner",
        "narrow_flange",
    }
    assert faults["flipped"] <= faces("flipped_faces")
    assert len(faces("flipped_faces")) <= len(faults["flipped"]) + 2
    assert faces("doubled_faces") == {faults["doubled"]}
    assert faces("self_crossing") <= faults["peg"] | named("outside")
    assert faces("self_crossing") & faults["peg"]
    assert faces("open_edges") <= named("bottom") | faults["flipped"]
    assert faces("thin_wall") >= named("floor", "bottom")
    assert faces("thin_wall") - faults["peg"] <= named("floor", "bottom", "outside")
    assert faces("undercut") == named("lip_under")
    assert faces("trapped") >= named("wall")
    assert faces("trapped") <= named("wall", "floor")
    assert faces("low_draft") == named("wall", "lip_inside")
    assert faces("layer_ridges") == named("wall", "lip_under", "lip_inside")
    assert faces("sharp_corner") <= named("floor", "wall", "lip_under")
    assert faces("narrow_flange") <= named("lip_inside")
    assert found["sharp_corner"].message.startswith("2 sharp inside corners")


def test_the_sound_pot_has_only_the_faults_of_its_shape():
    mesh, where = pot()
    layup = np.concatenate([where[name] for name in LAYUP])

    found = by_code(check_mould(mesh, MouldSettings(pull=UP, wall_min_mm=1.5, trim_mm=8), layup))

    assert set(found) == {
        "undercut",
        "trapped",
        "low_draft",
        "part_line",
        "layer_ridges",
        "sharp_corner",
    }


def test_numbers_of_the_pot():
    mesh, where = pot(segments=256)
    layup = np.concatenate([where[name] for name in LAYUP])

    report = check_mould(mesh, MouldSettings(pull=UP), layup)
    numbers = report.numbers

    lip = (
        np.pi
        * (50 + 48 * np.tan(np.radians(2)) + 45)
        * np.hypot(50 + 48 * np.tan(np.radians(2)) - 45, 5)
    )
    assert_allclose(report.size, [110, 110, 60], rtol=1e-9)
    assert numbers.thinnest_wall_mm == pytest.approx(2)
    assert numbers.undercut_share * numbers.layup_area_mm2 == pytest.approx(lip, rel=1e-3)
    assert numbers.smallest_radius_mm == 0
    assert numbers.depth_mm == pytest.approx(58)
    assert numbers.opening_mm == pytest.approx(90, rel=1e-3)
    assert numbers.shells == 1
    assert numbers.closed
    assert numbers.pulls == (UP,)
    assert numbers.corner_resin_g == pytest.approx(sum(c.resin_g for c in report.corners))
    floor_corner = report.corners[0]
    assert floor_corner.length_mm == pytest.approx(2 * np.pi * 50, rel=1e-3)
    assert floor_corner.turn_deg == pytest.approx(88, abs=0.01)


def test_maps_cover_the_lay_up_and_nothing_else():
    mesh, where, _ = faulty_pot()
    layup = np.concatenate([where[name] for name in LAYUP])
    report = check_mould(mesh, MouldSettings(pull=UP), layup)

    for name in ("draft", "held", "ridge_mm", "grip_mm", "radius_mm", "under_brush_mm", "part"):
        values = getattr(report.maps, name)
        assert values.shape == (len(mesh.faces),)
        assert_array_equal(np.flatnonzero(~np.isnan(values)), np.sort(layup))
    assert_allclose(np.degrees(report.maps.draft[where["wall"]]), 2, atol=0.01)
    assert (report.maps.held[where["lip_under"]] == 1).all()
    assert_allclose(report.maps.wall_mm[where["floor"]], 2)


def test_corners_and_part_line_name_vertices_of_the_mould_as_given():
    mesh, where, _ = faulty_pot()
    layup = np.concatenate([where[name] for name in LAYUP])
    report = check_mould(mesh, MouldSettings(pull=UP), layup)

    edges = mesh.vertices[np.array(report.corners[0].edges)]
    length = np.linalg.norm(edges[:, 1] - edges[:, 0], axis=1).sum()
    assert length == pytest.approx(report.corners[0].length_mm)
    assert set(report.corners[0].faces) <= set(layup.tolist())
    line = mesh.vertices[report.split.line]
    assert np.linalg.norm(line[:, 1] - line[:, 0], axis=1).sum() == pytest.approx(
        report.split.line_mm
    )
    assert set(report.split.faces.tolist()) == set(layup.tolist())


def test_a_block_without_a_region_is_checked_for_size_and_health_only():
    report = check_mould(torus(100, 30), MouldSettings())

    assert [finding.code for finding in report.findings] == ["no_layup"]
    assert np.isnan(report.maps.draft).all()
    assert report.corners == ()


def test_a_skin_without_a_region_is_lay_up_in_whole():
    report = check_mould(bowl(100, 90), MouldSettings())

    codes = [finding.code for finding in report.findings]
    assert codes == ["open_edges", "pull", "low_draft", "layer_ridges", "narrow_flange"]
    assert report.numbers.low_draft_share == pytest.approx(np.sin(np.radians(5)), abs=0.003)
    assert report.numbers.pulls == (UP,)


def test_parts_are_released_each_by_its_own_pull():
    """The inside of a ball in two halves: nothing holds, and no further split is proposed."""
    mesh = bowl(80, 150, rings=40)
    left = mesh.corners.mean(axis=1)[:, 0] < 0
    parts = [
        MouldPart(name="left half", faces=np.flatnonzero(left), pull=(1, 0, 0)),
        MouldPart(name="right half", faces=np.flatnonzero(~left), pull="auto"),
    ]

    report = check_mould(mesh, MouldSettings(), np.arange(len(mesh.faces)), parts=parts)
    codes = [finding.code for finding in report.findings]

    assert "undercut" not in codes
    assert "trapped" not in codes
    assert "part_line" not in codes
    assert report.split is None
    assert report.numbers.pulls[1][0] < -0.9
    assert set(report.maps.part) == {0, 1}
    low = [f.message for f in report.findings if f.code == "low_draft"]
    assert low[0].startswith("left half: ")


def test_faces_in_no_part_are_checked_against_the_pull_of_the_settings():
    mesh = bowl(80, 80)
    parts = [MouldPart(name="bottom", faces=np.arange(100), pull=UP)]
    report = check_mould(mesh, MouldSettings(pull=(0, 0, -1)), parts=parts)
    [undercut] = [f for f in report.findings if f.code == "undercut"]
    assert undercut.message.startswith("the rest: ")
    assert len(undercut.faces) == len(mesh.faces) - 100


@pytest.mark.parametrize(
    ("region", "parts", "reason"),
    [
        ([0, 5000], (), "names face 5000"),
        ([-1], (), "names face -1"),
        ([0.5], (), "integers"),
        (None, (("a", [1, 2]), ("b", [2, 3])), "'b' and in 'a'"),
        (None, (("a", [99999]),), "'a' names face 99999"),
    ],
)
def test_faces_the_mould_does_not_have_are_refused(region, parts, reason):
    parts = [MouldPart(name=name, faces=np.array(faces)) for name, faces in parts]
    with pytest.raises(InputError, match=reason):
        check_mould(box([0, 0, 0], [50, 50, 50]), MouldSettings(), region, parts=parts)


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("layer_height_mm", 0),
        ("cloth_radius_mm", -1),
        ("cloth_radius_mm", float("nan")),
        ("min_draft_deg", 61),
        ("min_draft_deg", -1),
        ("wall_min_mm", -0.1),
        ("bead_share", 0.6),
        ("overhang_deg", 90),
        ("deep_ratio", 0),
        ("pull", "up"),
        ("pull", (0, 0, 0)),
        ("build", (0, 0, float("inf"))),
    ],
)
def test_settings_that_make_no_sense_are_refused(field, value):
    with pytest.raises(InputError, match=field.removesuffix("_mm") if "_" in field else field):
        MouldSettings(**{field: value})


def test_the_work_can_be_followed_and_stopped():
    told = []
    check_mould(
        bowl(80, 80), MouldSettings(), progress=lambda share, what: told.append((share, what))
    )
    shares = [share for share, _ in told]
    assert shares == sorted(shares)
    assert shares[0] == 0
    assert shares[-1] == 1
    assert "draft" in {what for _, what in told}

    def stop(share, what):
        if share > 0.4:
            raise Cancelled

    with pytest.raises(Cancelled):
        check_mould(bowl(80, 80), MouldSettings(), progress=stop)


def test_turning_and_renumbering_change_no_verdict():
    mesh, where = pot()
    layup = np.concatenate([where[name] for name in LAYUP])
    turn, order = any_turn(3), np.random.default_rng(1).permutation(len(mesh.faces))
    other = moved(MouldMesh(mesh.vertices, mesh.faces[order]), turn, (100, 50, -20))
    back = np.argsort(order)

    one = check_mould(mesh, MouldSettings(pull=UP), layup)
    two = check_mould(
        other, MouldSettings(pull=tuple(turn[:, 2]), build=tuple(turn[:, 2])), back[layup]
    )

    for a, b in zip(one.findings, two.findings, strict=True):
        assert a.code == b.code
        if a.code not in ("trapped", "part_line", "narrow_flange"):  # sampled points, ties
            assert set(a.faces) == set(order[list(b.faces)].tolist())
    assert_allclose(two.maps.draft[back], one.maps.draft, atol=1e-9)
    assert two.numbers.layup_area_mm2 == pytest.approx(one.numbers.layup_area_mm2)


def test_the_same_mould_gives_the_same_report_twice():
    mesh, where, _ = faulty_pot()
    layup = np.concatenate([where[name] for name in LAYUP])
    one, two = (check_mould(mesh, MouldSettings(), layup) for _ in range(2))

    assert one.findings == two.findings
    assert one.corners == two.corners
    assert one.numbers == two.numbers
    for field in fields(one.maps):
        assert_array_equal(getattr(one.maps, field.name), getattr(two.maps, field.name))


def test_no_faces_stops():
    report = check_mould(MouldMesh(np.zeros((0, 3)), np.zeros((0, 3), int)), MouldSettings())
    assert [(f.code, f.severity) for f in report.findings] == [("empty", "stop")]


NASTY = [
    MouldMesh([[0, 0, 0]], [[0, 0, 0]]),
    MouldMesh([[1, 1, 1]] * 3, [[0, 1, 2]]),
    MouldMesh([[0, 0, 0], [1, 0, 0], [2, 0, 0]], [[0, 1, 2]]),
    MouldMesh([[0, 0, 0], [50, 0, 0], [0, 50, 0]], [[0, 1, 2]] * 5),
    MouldMesh([[0, 0, 0], [50, 0, 0], [0, 50, 0]], [[0, 1, 2], [0, 2, 1]]),
    MouldMesh([[0, 0, 0], [1e-9, 0, 0], [0, 1e-9, 0]], [[0, 1, 2]]),
    MouldMesh(
        np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1.0]]) * 1e9, [[0, 1, 2], [0, 1, 3]]
    ),
    MouldMesh([[0, 0, 0], [300, 0, 0], [150, 1e-4, 0], [150, 40, 1]], [[0, 1, 2], [2, 1, 3]]),
]


@pytest.mark.parametrize("mesh", NASTY)
@pytest.mark.parametrize("region", [None, [0], []])
def test_a_nasty_mesh_gives_a_report(mesh, region):
    report = check_mould(mesh, MouldSettings(), region)
    _is_sane(report, mesh)


@settings(max_examples=50)
@given(
    seed=st.integers(0, 2**32 - 1),
    count=st.integers(1, 60),
    vertices=st.integers(3, 40),
    scale=st.sampled_from([1e-6, 1.0, 100.0, 1e7]),
    coarse=st.booleans(),
    everything=st.booleans(),
)
def test_any_tangle_of_triangles_gives_a_report(seed, count, vertices, scale, coarse, everything):
    rng = np.random.default_rng(seed)
    points = rng.normal(size=(vertices, 3))
    points = np.round(points) if coarse else points
    mesh = MouldMesh(points * scale, rng.integers(0, vertices, (count, 3)))
    region = np.arange(count) if everything else rng.integers(0, count, 3)

    report = check_mould(mesh, MouldSettings(), region)

    _is_sane(report, mesh)


@settings(max_examples=6)
@given(seed=st.integers(0, 2**32 - 1), share=st.floats(0, 0.3))
def test_a_damaged_mould_gives_a_report(seed, share):
    rng = np.random.default_rng(seed)
    mesh = pot(segments=12)[0]
    faces = mesh.faces[rng.random(len(mesh.faces)) >= share]
    flip = rng.random(len(faces)) < share / 3
    faces = np.where(flip[:, None], faces[:, ::-1], faces)
    points = mesh.vertices + rng.normal(size=mesh.vertices.shape) * share * 5
    mesh = MouldMesh(points, faces)

    report = check_mould(mesh, MouldSettings(), np.arange(len(faces)))

    _is_sane(report, mesh)


def _is_sane(report, mesh):
    for finding in report.findings:
        assert finding.severity in SEVERITIES
        assert finding.message
        assert "nan" not in finding.message.lower()
        assert "inf" not in finding.message.lower()
        assert all(0 <= face < len(mesh.faces) for face in finding.faces)
    for field in fields(report.numbers):
        assert not np.isnan(np.array(getattr(report.numbers, field.name), float)).any()
    for field in fields(report.maps):
        assert getattr(report.maps, field.name).shape == (len(mesh.faces),)
    held = report.maps.held
    assert ((held >= 0) & (held <= 1) | np.isnan(held)).all()
