"""The pot: ratios by weight and by volume, working time, batches."""

import math
from decimal import Decimal

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from laminate.cloths import CARBON, laid

from flatten.errors import InputError
from flatten.laminate.quantities import quantities
from flatten.laminate.resin import (
    Mix,
    batches,
    largest_batch_g,
    mix_of,
    pot_life_min,
    spread_min,
    with_loss,
)
from flatten.laminate.rounding import add_up
from flatten.laminate.settings import LaminateSettings

FINE = LaminateSettings(scale_step_g=0.01, pot_limit_g=1e4, spread_g_per_min=1e4)


@pytest.mark.parametrize(
    ("total", "resin", "hardener", "parts"),
    [
        (300, 100, 30, (230.77, 69.23)),
        (500, 100, 27, (393.70, 106.30)),
        (250, 5, 1, (208.33, 41.67)),
        (250, 3, 1, (187.50, 62.50)),
        (250, 2, 1, (166.67, 83.33)),
    ],
)
def test_the_split_worked_by_hand(total, resin, hardener, parts):
    mix = Mix(resin=resin, hardener=hardener)

    (batch,) = batches(total * 100, mix, FINE, ())

    assert (batch.resin_g, batch.hardener_g) == parts
    assert mix.split(total) == pytest.approx(parts, abs=0.005)
    assert Decimal(str(batch.resin_g)) + Decimal(str(batch.hardener_g)) == total


def test_a_ratio_by_volume_becomes_one_by_weight_through_the_densities():
    """100:50 by volume at 1.15 and 0.95 g/cm3 is 100:41.30 by weight."""
    mix = Mix(resin=100, hardener=50, by="volume", resin_g_cm3=1.15, hardener_g_cm3=0.95)

    resin, hardener = mix.split(141.30)

    assert 100 * hardener / resin == pytest.approx(41.30, abs=0.005)


def test_millilitres_carry_the_same_mix():
    mix = Mix(resin=100, hardener=50, by="volume", resin_g_cm3=1.15, hardener_g_cm3=0.95)

    (batch,) = batches(30000, mix, FINE, ())

    assert batch.resin_ml / batch.hardener_ml == pytest.approx(2, rel=1e-3)
    assert batch.resin_ml == pytest.approx(batch.resin_g / 1.15, abs=0.05)
    assert batches(100, Mix(resin=2, hardener=1), FINE, ())[0].resin_ml is None


def test_weight_and_volume_are_never_taken_for_each_other():
    by_weight = Mix(resin=2, hardener=1, resin_g_cm3=1.15, hardener_g_cm3=0.95)
    by_volume = Mix(resin=2, hardener=1, by="volume", resin_g_cm3=1.15, hardener_g_cm3=0.95)

    assert by_weight.hardener_share == pytest.approx(1 / 3, rel=1e-12)
    assert by_volume.hardener_share == pytest.approx(0.95 / (2 * 1.15 + 0.95), rel=1e-12)
    with pytest.raises(InputError, match="lacks a density"):
        Mix(resin=2, hardener=1, by="volume", resin_g_cm3=1.15)
    with pytest.raises(InputError, match="liquid density is missing"):
        LaminateSettings(mix_by="volume", hardener_density_g_cm3=0.95)


def test_batches_worked_by_hand():
    """748.6 g with at most 250 g a pot: three of 249.53."""
    settings = LaminateSettings(scale_step_g=0.01, pot_limit_g=250)

    made = batches(74860, mix_of(settings), settings, ())

    assert [batch.total_g for batch in made] == [249.54, 249.53, 249.53]


def test_a_batch_is_no_more_than_can_be_spread_in_half_the_pot_life():
    settings = LaminateSettings(pot_limit_g=1000, pot_life_min=20, spread_g_per_min=15)

    assert spread_min(settings) == 10
    assert largest_batch_g(settings) == 150
    assert len(batches(4510, mix_of(settings), settings, ())) == 4


@pytest.mark.parametrize(
    ("net", "weighed"),
    [
        # 12 %, small jobs 20 %; common practice, no source
        (0, 0),
        (30, 36),
        (100, 120),
        (150, 170),
        (200, 224),
        (1000, 1120),
    ],
)
def test_a_small_job_leaves_more_in_the_cup(net, weighed):
    assert with_loss(net, LaminateSettings()) == pytest.approx(weighed, rel=1e-12)


@given(st.floats(0, 2000), st.floats(0, 2000))
def test_more_cloth_never_asks_for_less_resin(one, other):
    low, high = sorted((one, other))
    assert with_loss(low, LaminateSettings()) <= with_loss(high, LaminateSettings())


@pytest.mark.parametrize(
    ("shop_c", "minutes"),
    [
        (23, 30),
        (33, 15),  # 10 degrees warmer halve it; common practice, no source
        (43, 7.5),
        (13, 60),
        (3, 60),  # no more than twice: cold resin also spreads more slowly
    ],
)
def test_pot_life_halves_every_ten_degrees(shop_c, minutes):
    assert pot_life_min(LaminateSettings(shop_c=shop_c)) == pytest.approx(minutes, rel=1e-12)


def test_above_ninety_fahrenheit_at_most_half_is_left():
    """US Army TM 1-1500-204-23-11, ch. 7: above 90 F (32.2 C) cut working time by half."""
    hot = LaminateSettings(shop_c=32.5, pot_life_at_c=30)
    warm = LaminateSettings(shop_c=32.0, pot_life_at_c=30)

    assert pot_life_min(hot) == pytest.approx(15, rel=1e-12)
    assert 25 < pot_life_min(warm) < 30


def test_each_batch_says_which_plies_it_wets():
    part = quantities(
        [laid(1), laid(2), laid(3)], LaminateSettings(pot_limit_g=300, spread_g_per_min=50)
    )

    # 3 x 282.2 g of resin in 3 equal pots: one for each ply
    assert [batch.plies for batch in part.batches] == [(1,), (2,), (3,)]
    small = quantities([laid(1, CARBON, 0.1), laid(2, CARBON, 0.1)], LaminateSettings())
    assert [batch.plies for batch in small.batches] == [(1, 2)]


@given(
    st.integers(1, 10**6), st.floats(1, 100), st.floats(0.5, 100), st.sampled_from([0.01, 0.1, 1.0])
)
def test_batches_add_up_and_keep_the_ratio(steps, resin, hardener, step):
    settings = LaminateSettings(scale_step_g=step, pot_limit_g=step * steps / 3 + step)
    mix = Mix(resin=resin, hardener=hardener)

    assume(steps * step / largest_batch_g(settings) < 900)
    made = batches(steps, mix, settings, ())

    assert sum(Decimal(str(batch.total_g)) for batch in made) == Decimal(str(step)) * steps
    for batch in made:
        parts = Decimal(str(batch.resin_g)) + Decimal(str(batch.hardener_g))
        assert parts == Decimal(str(batch.total_g))
        wanted = batch.total_g * hardener / (resin + hardener)
        assert abs(batch.hardener_g - wanted) <= step / 2 * (1 + 1e-6)
    sizes = [batch.total_g for batch in made]
    assert max(sizes) - min(sizes) <= step * (1 + 1e-6)
    assert max(sizes) <= largest_batch_g(settings) + 1e-9


@given(
    st.lists(st.floats(0, 1e4), min_size=1, max_size=20),
    st.sampled_from([0.01, 0.1, 0.25, 0.5, 1.0]),
)
def test_rounded_parts_add_up_to_the_rounded_total(parts, step):
    shown, total = add_up(parts, step)

    assert sum(Decimal(str(part)) for part in shown) == Decimal(str(total))
    assert total == pytest.approx(math.fsum(parts), abs=step / 2 * (1 + 1e-6))
    for part, rounded in zip(parts, shown, strict=True):
        assert abs(part - rounded) < step * (1 + 1e-6)


def test_the_steps_left_over_go_to_the_parts_that_lost_most():
    """Largest remainder: 0.26 loses more than 0.44 when both are cut to tenths."""
    assert add_up([0.44, 0.26, 0.3], 0.1) == ((0.4, 0.3, 0.3), 1.0)


@pytest.mark.parametrize(
    ("resin", "hardener"),
    [(0, 0), (100, 0), (0, 30), (-100, 30), (float("nan"), 30), ("100", 30), (100, True)],
)
def test_a_ratio_without_a_part_is_refused(resin, hardener):
    with pytest.raises(InputError, match="mix_") as caught:
        Mix(resin=resin, hardener=hardener)
    assert "100:30" in caught.value.hint
    with pytest.raises(InputError, match="mixing ratio"):
        LaminateSettings(mix_resin=resin, mix_hardener=hardener)


def test_a_pot_smaller_than_the_scale_shows_is_refused():
    settings = LaminateSettings(scale_step_g=1, pot_limit_g=0.5)
    with pytest.raises(InputError, match="less than the scale shows"):
        batches(100, mix_of(settings), settings, ())


def test_a_thousand_batches_are_refused():
    settings = LaminateSettings(pot_limit_g=1)
    with pytest.raises(InputError, match="batches"):
        batches(10**6, mix_of(settings), settings, ())


def test_no_resin_no_batch():
    assert batches(0, mix_of(FINE), FINE, ()) == ()
