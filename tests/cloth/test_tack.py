"""The search for a tack point."""

import numpy as np
import pytest
from shapes import irregular_cap

from flatten.cloth.library import load_fabrics
from flatten.cloth.tack import Trial, _choice, search_tack
from flatten.errors import Cancelled, InputError

TWILL = load_fabrics()["carbon_twill_210"]
CAP = irregular_cap(150, 55, 500)
EDGE = 150 * np.array([np.sin(0.6), 0, np.cos(0.6)])


def test_the_top_of_a_dome_is_found_from_its_edge():
    """By symmetry the pole is best: found to a fifth of the radius, gain told, never worse."""
    found = search_tack(CAP, TWILL, tack_mm=EDGE, warp=(0.3, 0.9, 0), trials=8)

    assert np.hypot(*found.best.tack_mm[:2]) < 30
    assert found.best.better_than(found.given)
    assert "instead of" in found.gain
    assert found.drape.converged


def test_a_good_place_is_kept():
    found = search_tack(CAP, TWILL, tack_mm=(0, 0, 150), warp=(1, 0, 0), trials=4)

    assert not found.given.better_than(found.best)
    if found.best is found.given:
        assert found.gain == "No better tack point was found."


def test_the_same_search_finds_the_same_place():
    one, two = (
        search_tack(CAP, TWILL, tack_mm=EDGE, warp=(0, 1, 0), trials=4, turns_deg=(0, 45))
        for _ in range(2)
    )
    assert one.best.tack_mm.tolist() == two.best.tack_mm.tolist()
    assert one.best.turn_deg == two.best.turn_deg
    assert one.tried == 4 * 2 + 8


def test_the_search_can_be_stopped_and_needs_trials():
    def stop(share, what):
        if share > 0.3:
            raise Cancelled

    with pytest.raises(Cancelled):
        search_tack(CAP, TWILL, tack_mm=EDGE, warp=(0, 1, 0), trials=8, progress=stop)
    with pytest.raises(InputError, match="2 trials"):
        search_tack(CAP, TWILL, tack_mm=EDGE, warp=(0, 1, 0), trials=2)


def test_a_place_near_the_rim_is_taken_only_where_it_pays():
    """A hand's breadth off the edge, common practice: unless the rim locks or shears clearly
    less."""

    def trial(rim_mm, locked, shear):
        return Trial(
            tack_mm=np.zeros(3),
            turn_deg=0,
            locked_fraction=locked,
            shear_rms_deg=shear,
            rim_mm=rim_mm,
        )

    edge, near, far = trial(5, 0.01, 4.0), trial(60, 0.011, 4.4), trial(80, 0.011, 4.3)
    worse = trial(90, 0.02, 4.0), trial(90, 0.01, 5.0)

    assert _choice([edge, near, far, *worse], CAP) is far
    assert _choice([edge, *worse], CAP) is edge
    assert _choice([*worse, far, trial(41, 0.0, 1.0)], CAP).rim_mm == 41
    small = irregular_cap(20, 55, 200)  # an eighth of its size: 5 mm
    assert _choice([trial(6, 0.01, 4.0), far], small).rim_mm == 6
