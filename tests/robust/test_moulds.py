"""Nasty moulds through the whole chain: a named error or a valid result, and nothing else.

tests/bench/long_moulds.py does the same in the thousands, with larger moulds.
"""

import json
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from robust import nasty, sound

# (how it failed, as far as it must go, recipe): each ended in a bug once
KEPT = json.loads(Path(__file__).with_name("kept.json").read_text(encoding="utf-8"))
RECIPES = st.fixed_dictionaries(
    {
        "seed": st.integers(0, 2**32 - 1),
        "base": st.sampled_from(list(nasty.BASES)),
        "cells": st.integers(1, 3),
        "faults": st.lists(st.sampled_from(list(nasty.FAULTS)), max_size=3, unique=True),
        "scale_mm": st.sampled_from([60.0, 150.0, 20.0, 0.5, 1e-9, 1e12]),
        "region": st.sampled_from(nasty.REGIONS),
        "edge_share": st.sampled_from([0.5, 0.3]),
        "plies": st.just(1),
        "cloth": st.sampled_from(nasty.CLOTHS),
        "angle_deg": st.sampled_from([0.0, 45.0, 90.0, -30.0, 211.7]),
        "tack": st.sampled_from(["none", "vertex", "near", "far"]),
        "cut": st.sampled_from(nasty.CUTS),
    }
)


# Laying is quick, checks of the mould take a tenth of a second, files half a second and more.
@settings(max_examples=420)
@given(RECIPES)
def test_every_ply_of_a_mould_is_refused_by_name_or_laid(recipe):
    sound.laid(lambda: nasty.job_of(recipe))


@settings(max_examples=70)
@given(RECIPES)
def test_every_run_ends_in_a_named_error_or_a_sound_result(recipe):
    sound.outcome(lambda: nasty.job_of(recipe), deliver=False)


@settings(max_examples=10)
@given(RECIPES.map(lambda recipe: {**recipe, "faults": [], "scale_mm": 150.0, "cut": "none"}))
def test_every_file_of_a_result_is_sound(recipe):
    sound.outcome(lambda: nasty.job_of(recipe))


@pytest.mark.parametrize(("how", "recipe"), [k[1:] for k in KEPT], ids=[k[0] for k in KEPT])
def test_kept_failures_stay_repaired(how, recipe):
    getattr(sound, how)(lambda: nasty.job_of(recipe))


def test_the_looks_can_see():
    """A result that is broken on purpose is found out."""
    good = {
        "seed": 1, "base": "plate", "cells": 2, "faults": [], "scale_mm": 150.0, "region": "all",
        "edge_share": 0.5, "plies": 1, "cloth": "carbon_twill_210", "angle_deg": 0.0,
        "tack": "none", "cut": "none",
    }  # fmt: skip
    assert sound.outcome(lambda: nasty.job_of(good)) == "result"

    for name, broken in {
        "patterns.svg": b"<svg><path d='M nan 3'/></svg>",
        "cut_list.csv": b"a,b\r\n1,2,3\r\n",
        "result.json": b'{"a": NaN}',
    }.items():
        with pytest.raises(sound.Unsound):
            sound.look_at_files({name: broken})
