"""Job folders written by earlier states of this program, kept as they were: read, and cut alike.

`stored/first` is of the first state that wrote job folders, `second` of one that noted the sum of
its arrays, `third` of the first one with extras. A folder kept here is never written again.
"""

import hashlib
from pathlib import Path

import numpy as np
import pytest

from flatten.job import load_job, save_job
from flatten.run import run
from flatten.surface.cut import Cut

STORED = Path(__file__).with_name("stored")
NAMES = ["first", "second", "third"]
# The first 16 digits of the SHA-256 of each job.json: a sample made anew would prove nothing.
SUMS = {"first": "9c9d1eb53812db9b", "second": "cf1eb4380a4e8144", "third": "f72193fe42fcaa74"}


@pytest.mark.parametrize("name", NAMES)
def test_a_job_of_an_earlier_state_is_read_whole(name, tmp_path):
    text = (STORED / name / "job.json").read_bytes()
    assert hashlib.sha256(text).hexdigest()[:16] == SUMS[name]

    job = load_job(STORED / name)

    assert job.part == "Telescope tray №1"
    assert [ply.angle_deg for ply in job.plies] == [30.0, -45.0]
    assert job.plies[0].trim_mm == 20.0
    assert job.plies[0].tack_mm == pytest.approx((5.0, 2.0, -14.0))
    (cut,) = job.plies[0].cuts
    assert isinstance(cut, Cut)
    assert (cut.id, cut.kind, cut.lap_mm) == ("p1c1", "dart", 15.0)
    assert np.array_equal(cut.path, [[-95.0, 0, 0], [-20, 0, -12]])
    assert (job.stock.rolls[0].length_mm, job.stock.rolls[0].price_per_m) == (4000.0, 21.5)
    save_job(job, tmp_path / "again")
    assert load_job(tmp_path / "again") == job


def test_they_are_cut_alike():
    """The same mould and plies, whatever fields have been added since: the same patterns.

    A job keeps its cloth's own values; that of the first is thirty times as stiff in shear.
    """
    areas = [[p.cut.area for p in run(load_job(STORED / name)).patterns] for name in NAMES]
    assert len(areas[0]) == 2
    assert areas[1] == pytest.approx(areas[2], rel=1e-9)
    assert areas[0] == pytest.approx(areas[1], rel=5e-3)
    assert [load_job(STORED / name).fabrics[0].stiffness_shear for name in NAMES[:2]] == [
        3e-4,
        1e-5,
    ]
