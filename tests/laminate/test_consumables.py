"""Peel ply, film, breather, bag and tape; the resin they hold; the cautions."""

from dataclasses import replace

import pytest
from laminate.cloths import CARBON, GLASS, laid

from flatten.cloth.library import load_fabrics
from flatten.laminate.cautions import cautions_for
from flatten.laminate.consumables import consumables_for, cut_as_covers, uptake_g
from flatten.laminate.quantities import quantities
from flatten.laminate.settings import Coat, Consumed, LaminateSettings


def used(process, **more):
    return consumables_for(LaminateSettings(process=process, **more), 2.0, 6.0)


def test_a_bag_needs_peel_ply_film_breather_bag_and_tape():
    """Factors on area and perimeter are common practice, no source: 1.15, 1.15, 1.2, 1.4."""
    bag = used("bagged")

    assert bag.peel_ply_m2 == pytest.approx(2.3)
    assert bag.film_m2 == pytest.approx(2.3)
    assert bag.breather_m2 == pytest.approx(2.4)
    assert bag.bag_m2 == pytest.approx(2.8)
    assert bag.tape_m == pytest.approx(6.9)
    assert bag.flow_mesh_m2 == 0


def test_an_infusion_has_a_mesh_in_place_of_the_breather():
    infused = used("infusion")

    assert infused.flow_mesh_m2 == pytest.approx(1.8)
    assert infused.breather_m2 == infused.film_m2 == 0
    assert infused.bag_m2 > 0


@pytest.mark.parametrize("process", ["hand", "mat"])
def test_open_lay_up_needs_release_agent_only(process):
    open_one = used(process)

    assert (open_one.bag_m2, open_one.tape_m, open_one.peel_ply_m2) == (0, 0, 0)
    assert open_one.release_g == pytest.approx(2 * 4 * 10)


def test_peel_ply_can_be_asked_for_or_left_out():
    assert used("hand", consumed=Consumed(peel_ply=True)).peel_ply_m2 > 0
    assert used("bagged", consumed=Consumed(peel_ply=False)).peel_ply_m2 == 0


def test_what_is_taken_up_is_weighed_but_not_in_the_part():
    """50 to 150 g/m2 each for peel ply and breather; common practice, no source."""
    settings = LaminateSettings(process="bagged", brush_loss=0, small_loss=0)

    assert uptake_g([laid(1)], settings, 1.0) == pytest.approx(160)
    part = quantities([laid(1)], settings)
    without = quantities(
        [laid(1)], replace(settings, consumed=Consumed(peel_ply=False, breather=False))
    )
    assert part.uptake_to_weigh_g == pytest.approx(160, abs=0.1)
    assert part.resin_to_weigh_g == pytest.approx(without.resin_to_weigh_g + 160, abs=0.11)
    assert part.part_g == without.part_g


def test_a_peel_ply_drawn_as_a_ply_is_not_asked_for_twice():
    peel = load_fabrics()["peel_ply_85"]
    drawn = quantities([laid(1), laid(2, fabric=peel)], LaminateSettings(process="bagged"))
    without = quantities([laid(1)], LaminateSettings(process="bagged"))

    assert drawn.consumables.peel_ply_m2 == 0 < without.consumables.peel_ply_m2
    assert drawn.uptake_to_weigh_g == pytest.approx(without.uptake_to_weigh_g, rel=0.2)  # its trim


def test_an_infusion_fills_mesh_and_lines():
    settings = LaminateSettings(process="infusion")
    assert uptake_g([laid(1)], settings, 2.0) == pytest.approx(2 * (80 + 450) + 100)


def said(fabrics, settings=LaminateSettings(), pots=()):  # noqa: B008 frozen
    return " ".join(cautions_for(fabrics, settings, pots)).lower()


def test_the_data_sheet_decides_comes_first():
    first = cautions_for([CARBON], LaminateSettings(), ())[0]
    assert "data sheets" in first
    assert "decide" in first


@pytest.mark.parametrize("word", ["sensitise", "gloves", "latex", "air", "dust", "mask", "eye"])
def test_every_laminate_gets_the_common_cautions(word):
    """HSE RR79; EU-OSHA on epoxy resins; OSHA Technical Manual, section III ch. 1."""
    assert word in said([GLASS])


def test_carbon_dust_conducts_and_glass_does_not():
    assert "conducts" in said([CARBON])
    assert "conducts" not in said([GLASS])


def test_a_large_pot_brings_the_exotherm():
    """Makers' safety pages: 100 g left in a pot can reach 400 F (204 °C)."""
    large = quantities([laid(1)], LaminateSettings())
    small = quantities([laid(1, area_m2=0.1)], LaminateSettings())

    assert any("200 °C" in line for line in large.cautions)
    assert not any("200 °C" in line for line in small.cautions)
    assert any("never change it" in line for line in small.cautions)


def test_a_catalyst_brings_its_own_caution():
    assert "peroxide" in said([GLASS], LaminateSettings(coats=(Coat(mix_hardener=2),)))
    assert "peroxide" not in said([GLASS], LaminateSettings(coats=(Coat(mix_hardener=30),)))


def test_a_warm_shop_is_named():
    assert "sets sooner" in said([GLASS], LaminateSettings(shop_c=29))
    assert "sets sooner" not in said([GLASS])


def test_cautions_are_short():
    """They stand beside numbers on a sheet read with gloves on: two lines at most."""
    part = quantities([laid(1)], LaminateSettings(coats=(Coat(),), shop_c=30))
    assert max(map(len, part.cautions)) <= 160
    assert len(part.cautions) <= 12


def test_covers_are_known_by_their_cloth():
    """Peel ply is woven, breather a felt; release film lies under the bag, where there is any."""
    cloths = load_fabrics()
    film, bag = cloths["release_film_perforated"], cloths["bag_film_50"]
    peel, felt = cloths["peel_ply_85"], cloths["breather_150"]

    assert cut_as_covers([peel, felt], used("bagged")) == {"peel_ply_m2", "breather_m2"}
    assert cut_as_covers([film], used("bagged")) == {"film_m2"}
    assert cut_as_covers([film, bag], used("bagged")) == {"film_m2", "bag_m2"}
    assert cut_as_covers([bag], used("infusion")) == {"bag_m2"}
    assert cut_as_covers([CARBON, GLASS], used("bagged")) == set()
