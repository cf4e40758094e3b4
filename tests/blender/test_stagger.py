"""A cut over a joint of the ply below is replaced by a copy moved clear, by one button."""

import bpy
import numpy as np

from flatten.laminate.stagger import check_stagger

from .making import grid, job_of, ply_on


def test_the_button_moves_the_cut_clear_of_the_joint_below():
    mould = grid(size=0.4, cells=10)
    for place in (0.0, 0.004):
        ply_on(mould)
        points = [[place, -0.2, 0.0], [place, 0.2, 0.0]]
        assert bpy.ops.mouldply.draw_cut(kind="splice", points=str(points)) == {"FINISHED"}

    def found():
        job = job_of(mould)
        fabrics = {fabric.id: fabric for fabric in job.fabrics}
        return check_stagger(job.mould, job.plies, fabrics, seams=job.seams), job

    (finding,), job = found()
    assert bpy.ops.mouldply.stagger_cut(ply=finding.ply_id) == {"FINISHED"}

    left, after = found()
    assert left == []
    assert np.array_equal(after.plies[0].cuts[0].path, job.plies[0].cuts[0].path)
    apart = after.plies[1].cuts[0].path[:, 0] - after.plies[0].cuts[0].path[0, 0]
    assert np.abs(apart).min() >= 25.0
    assert after.plies[1].cuts[0].lap_mm == job.plies[1].cuts[0].lap_mm
