"""Both sides of a joint measure from one start, whatever else divides their edges."""

import numpy as np
from numpy.testing import assert_allclose
from sample_jobs import TWILL, tray_job

from flatten.cloth.library import load_fabrics
from flatten.laminate.stack import Stack
from flatten.lay import lay_ply, patches_of
from flatten.pattern.joints import joint_curves
from flatten.progress import silent


def sides(patch, curves):
    """Return per joint the distances of both sides' vertices, in the order walked."""
    found = {}
    for joint in np.unique(patch.edge_joints[patch.edge_joints >= 0]):
        edges = patch.edge_vertices[patch.edge_joints == joint]
        points = patch.surface.vertices[edges]
        ends = curves[joint].distance(points.reshape(-1, 3), np.full(2 * len(edges), np.nan))
        found[joint] = np.abs(np.diff(ends.reshape(-1, 2), axis=1)).ravel(), points
    return found


def test_darts_through_the_trim_strip_are_as_long_as_their_edges():
    """The strip's rim parts the two sides of a dart in different places."""
    job = tray_job()
    (patch,) = patches_of(job, job.plies[0], load_fabrics()[TWILL], job.mould)
    curves = joint_curves([patch])

    assert len(curves) == 4
    for joint, (along, points) in sides(patch, curves).items():
        lengths = np.linalg.norm(points[:, 1] - points[:, 0], axis=1)
        assert_allclose(along, lengths, atol=1e-9)
        assert_allclose(2 * curves[joint].length_mm, lengths.sum(), rtol=1e-9)


def test_a_lap_beside_its_dart_is_cut_free_in_one_line():
    """A slit in pieces would leave bridges of cloth: openings instead of an edge."""
    job = tray_job()
    laid = Stack.of(job.plies, job.settings.laminate).laid[0]

    pieces = lay_ply(job, laid, np.zeros(len(job.mould.faces)), silent).pieces

    assert len(pieces) == 1
    assert len(pieces[0].pattern.cut.interiors) == 0
