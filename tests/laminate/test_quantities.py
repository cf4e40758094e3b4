"""From plies to the scale, against trade facts, handbook arithmetic and scaling laws.

Longer than most files: every figure on the sheet, against its source.
"""

import json
import math
from dataclasses import replace
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from laminate.cloths import ARAMID, CARBON, FILM, GLASS, MAT, PEEL_PLY, laid

from flatten.errors import InputError
from flatten.laminate.quantities import quantities
from flatten.laminate.settings import Coat, Consumed, LaminateSettings
from flatten.records import to_plain

HAND = LaminateSettings()
THREE = [laid(1), laid(2), laid(3)]


def test_three_plies_of_carbon_twill_by_hand_are_about_a_millimetre():
    """Trade fact, common practice, no source: 3 x 210 g/m2 carbon 2/2 twill, 0.9 to 1.1 mm."""
    by_hand = quantities(THREE, HAND)
    bagged = quantities(THREE, LaminateSettings(process="bagged"))

    assert 0.9 <= by_hand.thickness_mm <= 1.1
    assert by_hand.thickness_mm == pytest.approx(1.011, abs=5e-4)
    assert bagged.thickness_mm < 0.9
    assert bagged.resin_to_weigh_g - bagged.uptake_to_weigh_g < by_hand.resin_to_weigh_g


def test_masses_follow_the_two_halves_of_the_rule_of_mixtures():
    """t = m_f/(1000 rho_f) + m_r/(1000 rho_m), no voids: ASTM D3171 Test Method II."""
    part = quantities(THREE, HAND)

    assert part.dry_g == pytest.approx(630, rel=1e-12)
    assert part.net_resin_g == pytest.approx(755.9, abs=0.05)
    assert part.thickness_mm == pytest.approx(630 / 1780 + part.net_resin_g / 1150, rel=1e-12)
    assert part.laminate_g == pytest.approx(part.dry_g + part.net_resin_g, rel=1e-12)
    assert part.density_g_cm3 == pytest.approx(0.35 * 1.78 + 0.65 * 1.15, rel=1e-12)
    assert part.fibre_volume_fraction == pytest.approx(0.35, rel=1e-12)


def test_a_repair_lay_up_takes_its_cloths_weight_in_resin():
    """FAA AC 43.13-1B, p. 3-3: equal weights of resin and cloth."""
    part = quantities(
        [laid(1, GLASS), laid(2, CARBON)],
        LaminateSettings(fibre_mass_fraction=0.5, brush_loss=0, small_loss=0),
    )

    assert part.net_resin_g == pytest.approx(part.dry_g, rel=1e-12)
    assert part.resin_to_weigh_g == pytest.approx(part.cut_g, abs=0.05)


def test_trim_is_wetted_but_does_not_stay_in_the_part():
    net = quantities([laid(1)], HAND)
    trimmed = quantities([laid(1, cut_area_mm2=1.25e6)], HAND)

    assert trimmed.part_g == net.part_g
    assert trimmed.cut_g == pytest.approx(1.25 * net.cut_g, rel=1e-12)
    assert trimmed.resin_to_weigh_g == pytest.approx(1.25 * net.resin_to_weigh_g, abs=0.1)


@pytest.mark.parametrize(("shear_deg", "factor"), [(30, 1.1547), (45, 1.4142), (60, 2.0)])
def test_sheared_cloth_is_thicker_and_heavier(shear_deg, factor):
    """A pin-jointed net keeps its threads, so its area shrinks by cos(shear)."""
    sheared = quantities(
        [laid(1, mean_inverse_cos_shear=1 / math.cos(math.radians(shear_deg)))], HAND
    )
    flat = quantities([laid(1)], HAND)

    assert sheared.dry_g / flat.dry_g == pytest.approx(factor, abs=5e-5)
    assert sheared.sheared_thickness_mm / flat.thickness_mm == pytest.approx(factor, abs=5e-5)
    assert sheared.thickness_mm == flat.thickness_mm
    assert sheared.fibre_volume_fraction == pytest.approx(0.35, rel=1e-12)


def test_film_and_peel_ply_weigh_nothing_in_the_part():
    part = quantities([laid(1), laid(2, PEEL_PLY), laid(3, FILM)], HAND)
    bare = quantities([laid(1)], HAND)

    assert part.thickness_mm == bare.thickness_mm
    assert part.part_g == bare.part_g
    assert part.plies[1].fibre_volume_fraction is None
    # the peel ply in the stack holds its uptake, with the loss; the film none
    assert part.uptake_to_weigh_g == pytest.approx(80 * 1.12, abs=0.1)


def test_a_stack_of_films_only_needs_no_resin():
    part = quantities([laid(1, FILM)], HAND)

    assert part.resin_to_weigh_g == 0
    assert part.batches == ()
    assert part.density_g_cm3 is None


def test_a_mat_packs_less_than_a_cloth():
    """Practical Action, Fibreglass boats: fibre about 30 % of the weight in hand-laid mat."""
    part = quantities([laid(1, MAT), laid(2, GLASS)], LaminateSettings(process="mat"))

    assert part.plies[0].fibre_mass_fraction == pytest.approx(0.30, abs=0.01)
    assert part.plies[1].fibre_mass_fraction == pytest.approx(0.45, abs=0.01)


def test_the_mat_exercise():
    """Textbook exercise: 2 x 450 mat, resin:glass 2:1, 2.55 and 1.2 g/cm3 -> 1.8529 mm."""
    share = 0.190476190476
    settings = LaminateSettings(
        process="mat", resin_density_g_cm3=1.2, mat_fibre_volume_fraction=share
    )

    part = quantities([laid(1, MAT), laid(2, MAT)], settings)

    assert part.fibre_mass_fraction == pytest.approx(1 / 3, abs=1e-9)
    assert part.thickness_mm == pytest.approx(1.8529, abs=5e-5)


def test_repeats_count_as_plies_of_their_own():
    once = quantities(THREE, HAND)
    thrice = quantities([laid(1, count=3)], HAND)

    for name in (
        "dry_g",
        "cut_g",
        "cut_area_m2",
        "net_resin_g",
        "thickness_mm",
        "part_g",
        "density_g_cm3",
    ):
        assert getattr(thrice, name) == pytest.approx(getattr(once, name), rel=1e-12)


def test_the_range_of_thickness_comes_from_the_map():
    part = quantities(THREE, HAND, laminate_mm=np.array([0.0, 0.4, 1.1, 0.7]))

    assert part.thickness_range_mm == (0.4, 1.1)
    assert quantities(THREE, HAND).thickness_range_mm is None
    assert quantities(THREE, HAND, laminate_mm=np.zeros(3)).thickness_range_mm == (0, 0)


def test_centre_of_mass_lies_between_by_weight():
    light = laid(1, replace(CARBON, id="light", areal_weight_gsm=100), centroid_mm=(0, 0, 0))
    heavy = laid(2, replace(CARBON, id="heavy", areal_weight_gsm=300), centroid_mm=(40, 0, 8))

    part = quantities([light, heavy], HAND)

    assert part.centre_of_mass_mm == pytest.approx((30, 0, 6), abs=1e-12)
    assert quantities([light, laid(2)], HAND).centre_of_mass_mm is None


def test_coats_go_by_area_thickness_and_density():
    part = quantities(THREE, LaminateSettings(coats=(Coat(thickness_mm=0.5, density_g_cm3=1.2),)))

    assert part.coats[0].net_g == pytest.approx(600, rel=1e-12)
    assert part.coats[0].to_weigh_g == pytest.approx(720, abs=0.05)
    assert part.part_g == pytest.approx(part.laminate_g + 600, rel=1e-12)


areas = st.floats(0.01, 3)
cloths = st.sampled_from([CARBON, GLASS, ARAMID, MAT, PEEL_PLY])
stacks = st.lists(st.tuples(cloths, areas, st.floats(1, 1.6)), min_size=1, max_size=6).map(
    lambda rows: [
        laid(i + 1, cloth, area, cut_area_mm2=area * 1.2e6, mean_inverse_cos_shear=factor)
        for i, (cloth, area, factor) in enumerate(rows)
    ]
)
processes = st.sampled_from(["hand", "bagged", "mat"])


@given(stacks, processes, st.floats(0.2, 5))
def test_masses_and_resin_scale_with_area(stack, process, scale):
    settings = LaminateSettings(process=process, small_loss=0)
    bigger = [
        replace(
            ply,
            mould_area_mm2=scale * ply.mould_area_mm2,
            cut_area_mm2=scale * ply.cut_area_mm2,
            perimeter_mm=scale**0.5 * ply.perimeter_mm,
        )
        for ply in stack
    ]

    small, large = quantities(stack, settings), quantities(bigger, settings)

    for name in ("dry_g", "cut_g", "net_resin_g", "part_g"):
        assert getattr(large, name) == pytest.approx(scale * getattr(small, name), rel=1e-9)
    half_step = settings.scale_step_g / 2  # both totals are rounded to the scale
    assert large.resin_to_weigh_g == pytest.approx(
        scale * small.resin_to_weigh_g, abs=half_step * (1 + scale) + 1e-6
    )
    assert large.thickness_mm == small.thickness_mm


@given(stacks, processes, st.sampled_from([0.01, 0.1, 0.5, 1.0]), st.floats(20, 500))
def test_shown_parts_add_up_exactly(stack, process, step, limit):
    part = quantities(
        stack, LaminateSettings(process=process, scale_step_g=step, pot_limit_g=limit)
    )

    def exact(values):
        return sum(Decimal(str(value)) for value in values)

    total = Decimal(str(part.resin_to_weigh_g))
    assert exact([*(p.resin_to_weigh_g for p in part.plies), part.uptake_to_weigh_g]) == total
    assert exact(b.total_g for b in part.batches) == total
    for batch in part.batches:
        assert exact([batch.resin_g, batch.hardener_g]) == Decimal(str(batch.total_g))
        assert batch.total_g <= limit


@given(stacks, processes)
def test_dry_cloth_and_resin_make_the_mass_and_the_volume(stack, process):
    part = quantities(stack, LaminateSettings(process=process))

    if part.laminate_g:
        fibre = sum(
            p.dry_g / ply.fabric.fibre_density_g_cm3
            for p, ply in zip(part.plies, stack, strict=True)
        )
        volume = fibre + part.net_resin_g / 1.15
        assert part.density_g_cm3 == pytest.approx(part.laminate_g / volume, rel=1e-9)
        assert part.fibre_mass_fraction == pytest.approx(part.dry_g / part.laminate_g, rel=1e-12)


@pytest.mark.parametrize("weight", [0, -210, float("nan"), float("inf")])
def test_a_cloth_without_weight_is_refused(weight):
    with pytest.raises(InputError, match="areal_weight_gsm"):
        replace(CARBON, areal_weight_gsm=weight)


def test_everything_becomes_json():
    part = quantities(
        [laid(1, centroid_mm=(0, 0, 0)), laid(2, MAT, centroid_mm=(0, 0, 0))],
        LaminateSettings(process="infusion", coats=(Coat(),), consumed=Consumed(peel_ply=True)),
    )

    plain = json.loads(json.dumps(to_plain(part), allow_nan=False))

    assert plain["plies"][0]["name"] == "ply 1"
    assert plain["batches"][0]["number"] == 1
    assert plain["consumables"]["bag_m2"] == pytest.approx(1.4)


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("mould_area_mm2", 0),
        ("mould_area_mm2", -5.0),
        ("mould_area_mm2", float("nan")),
        ("cut_area_mm2", float("inf")),
        ("cut_area_mm2", "large"),
        ("perimeter_mm", 0.0),
        ("angle_deg", "45"),
        ("angle_deg", 361),
        ("mean_inverse_cos_shear", 0.9),
        ("number", 0),
        ("pieces", 1.5),
        ("count", True),
        ("fabric", "carbon"),
        ("centroid_mm", (0.0, 1.0)),
        ("centroid_mm", (0.0, 1.0, float("nan"))),
    ],
)
def test_a_ply_no_one_can_lay_is_refused_by_field(field, value):
    with pytest.raises(InputError, match=field.removesuffix("_mm")) as caught:
        replace(laid(1), **{field: value})
    assert caught.value.hint


def test_no_plies_are_refused():
    with pytest.raises(InputError, match="no plies"):
        quantities([], HAND)


def test_a_part_without_area_is_refused():
    with pytest.raises(InputError, match="part_area_mm2"):
        quantities(THREE, HAND, part_area_mm2=0)
    with pytest.raises(InputError, match="part_perimeter_mm"):
        quantities(THREE, HAND, part_perimeter_mm=-1)


def test_a_part_closed_all_round_has_no_rim_to_seal():
    assert quantities(THREE, HAND, part_perimeter_mm=0.0).part_area_m2 > 0
