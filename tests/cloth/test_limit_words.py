"""What is said of cloth past its limits: which way it shears, and no absurd figures."""

from dataclasses import replace

import numpy as np

from flatten.cloth.library import load_fabrics
from flatten.cloth.limit_words import at_most, past_shear, past_stretch

CLOTHS = load_fabrics()


def test_a_weave_that_locks_alike_both_ways_is_told_one_angle():
    twill = replace(CLOTHS["carbon_twill_210"], shear_lock_deg=50.0, shear_lock_opening_deg=None)

    said = past_shear(np.radians([-56.0, 20.0]), twill)

    assert said == "sheared up to 56°, it locks at 50°"
    assert past_shear(np.radians([49.0, -49.0]), twill) == ""


def test_stitched_cloth_names_the_way_it_locks():
    biax = replace(CLOTHS["carbon_biax_300"], shear_lock_deg=45.0, shear_lock_opening_deg=35.0)

    assert past_shear(np.radians([-40.0, 44.0]), biax) == (
        "sheared opening up to 40°, it locks at 35°"
    )


def test_stretch_beyond_reason_is_not_told_to_a_decimal():
    """A strain of 48569.8 % says only that the shape cannot be laid."""
    assert at_most(485.698) == "over 20 %"
    assert at_most(0.039) == "up to 3.9 %"
    assert past_stretch(np.array([0.05, -0.14]), 0.1) == (
        "stretched or gathered by up to 14 %, it gives 10 %"
    )
    assert past_stretch(np.array([0.05]), 0.1) == ""
