"""Cost and time from prices and rates; lines that add up."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from laminate.cloths import CARBON, GLASS, laid

from flatten.errors import InputError
from flatten.laminate.cost import estimate
from flatten.laminate.quantities import quantities
from flatten.laminate.settings import ClothPrice, Coat, LaminateSettings, Rates

PRICES = Rates(
    currency="EUR",
    cloth=(ClothPrice(fabric=CARBON.id, per_m2=30), ClothPrice(fabric=GLASS.id, per_m2=5)),
    resin_per_kg=25,
    labour_per_hour=40,
)


def test_a_part_priced_by_hand():
    settings = LaminateSettings(rates=PRICES, brush_loss=0)
    part = quantities([laid(1), laid(2, GLASS)], settings)

    result = estimate(part, settings)

    costs = {line.name: line for line in result.costs}

    assert costs["Cloth"].cost == 35.0
    assert costs["Resin, mixed"].cost == pytest.approx(part.resin_to_weigh_g / 1e3 * 25, abs=0.01)
    assert costs["Release agent"].cost == 0
    assert costs["Labour"].cost == pytest.approx(result.minutes / 60 * 40, abs=0.01)
    assert 50 < result.minutes < 120


def test_time_by_hand():
    settings = LaminateSettings(rates=PRICES, brush_loss=0)
    part = quantities([laid(1), laid(2)], settings)

    times = {line.name: line.minutes for line in estimate(part, settings).times}

    assert times["Cutting"] == 8  # 8 m at 1 m/min
    assert times["Laying"] == 26  # 2 m2 at 10 min, 2 pieces at 3
    assert times["Mixing"] == 4 * len(part.batches)
    assert times["Bagging"] == 0
    assert times["Release agent"] == 16  # 4 coats of 4 min on 1 m2


def test_what_the_nest_takes_replaces_the_cut_area():
    settings = LaminateSettings(rates=PRICES)
    part = quantities([laid(1)], settings)

    lines = estimate(part, settings, cloth_cost=77.7).costs

    assert lines[0].cost == 77.7


@given(
    st.floats(0, 500),
    st.floats(0, 200),
    st.floats(0.01, 3),
    st.sampled_from(["hand", "bagged", "infusion"]),
)
def test_lines_add_up_exactly(price, wage, area, process):
    settings = LaminateSettings(
        process=process,
        coats=(Coat(),),
        rates=Rates(
            resin_per_kg=price,
            coat_per_kg=price,
            bag_per_m2=1.234,
            tape_per_m=0.777,
            peel_ply_per_m2=3.333,
            labour_per_hour=wage,
        ),
    )
    part = quantities([laid(1, area_m2=area)], settings)

    result = estimate(part, settings)

    assert sum(Decimal(str(line.cost)) for line in result.costs) == Decimal(str(result.cost))
    assert sum(Decimal(str(line.minutes)) for line in result.times) == Decimal(str(result.minutes))


def test_all_that_is_used_up_has_its_own_price():
    """Powers of two: no sum of some of them is another."""
    rates = Rates(
        peel_ply_per_m2=1, film_per_m2=2, breather_per_m2=4, flow_mesh_per_m2=8, bag_per_m2=16,
        tape_per_m=32, release_per_kg=64, resin_per_kg=128, coat_per_kg=256,
    )  # fmt: skip
    prices = {
        "Peel ply": 1, "Release film": 2, "Breather": 4, "Flow mesh": 8, "Bag film": 16,
        "Sealant tape": 32, "Release agent": 64, "Resin, mixed": 128, "Coats, mixed": 256,
    }  # fmt: skip
    seen = set()
    for process in ("bagged", "infusion"):
        settings = LaminateSettings(process=process, coats=(Coat(),), rates=rates)
        lines = estimate(quantities([laid(1)], settings), settings).costs
        for line in lines:
            if line.name in prices:
                assert line.cost == pytest.approx(line.amount * prices[line.name], abs=0.01)
                seen.add(line.name)
    assert seen == set(prices)


def test_bad_prices_are_refused():
    settings = LaminateSettings(rates=Rates(cloth=(ClothPrice(fabric=GLASS.id, per_m2=5),)))
    part = quantities([laid(1)], settings)
    with pytest.raises(InputError, match="has no price"):
        estimate(part, settings)
    with pytest.raises(InputError, match="cloth_cost"):
        estimate(part, settings, cloth_cost=-2)
    for bad in ({"resin_per_kg": -1}, {"cut_m_per_min": 0}, {"labour_per_hour": "40"}):
        with pytest.raises(InputError, match=next(iter(bad))):
            Rates(**bad)
    with pytest.raises(InputError, match="per_m2"):
        ClothPrice(fabric="x", per_m2=float("nan"))
    with pytest.raises(InputError, match="currency"):
        Rates(currency="gold doubloons")
