"""The supplied cloths, a person's own, and the bench formulas for locking angles."""

import dataclasses
import json

import pytest

from flatten.cloth.library import load_fabrics, read_fabrics, write_fabrics
from flatten.cloth.shear_limit import bias_extension_shear_deg, locking_angle_deg
from flatten.errors import InputError


def test_every_kind_of_cloth_is_supplied_with_its_source():
    cloths = load_fabrics()

    assert {cloth.kind for cloth in cloths.values()} == {
        "weave",
        "unidirectional",
        "biaxial",
        "mat",
        "film",
    }
    assert all(cloth.source for cloth in cloths.values())
    assert cloths["carbon_twill_210"].areal_weight_gsm == 210
    assert cloths["carbon_biax_300"].lock_deg(closing=False) < 45


def test_carbon_density_is_that_of_published_tables():
    """Standard PAN carbon 1.76 to 1.80, E-glass 2.54 to 2.60, aramid 1.44 to 1.45 g/cm3."""
    spans = {"carbon": (1.76, 1.80), "glass": (2.54, 2.60), "aramid": (1.44, 1.45)}
    for cloth in load_fabrics().values():
        if cloth.fibre in spans and "hybrid" not in cloth.id:
            assert spans[cloth.fibre][0] <= cloth.fibre_density_g_cm3 <= spans[cloth.fibre][1]


def test_own_cloths_are_written_read_back_equal_and_take_precedence(tmp_path):
    own = dataclasses.replace(load_fabrics()["carbon_twill_210"], roll_width_mm=1000.0)
    mine = dataclasses.replace(own, id="my_twill", name="My twill é")

    write_fabrics(tmp_path / "shop.json", [own, mine])

    assert read_fabrics(tmp_path / "shop.json") == [own, mine]
    for place in (tmp_path, tmp_path / "shop.json"):
        every = load_fabrics(place)
        assert every["carbon_twill_210"].roll_width_mm == 1000
        assert every["my_twill"] == mine


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("{", "not valid JSON"),
        ("[]", "not a cloth file"),
        ('{"version": 9, "cloths": []}', "version 9"),
        ('{"version": 1, "cloths": [{"id": "x"}]}', "lacks"),
        ('{"version": 1, "cloths": [{"colour": "x"}]}', "unknown field"),
    ],
)
def test_a_bad_cloth_file_is_refused_with_its_name(tmp_path, text, reason):
    (tmp_path / "bad.json").write_text(text)

    with pytest.raises(InputError, match=reason) as caught:
        load_fabrics(tmp_path)

    assert "bad.json" in str(caught.value)


def test_an_id_twice_in_one_file_is_refused(tmp_path):
    cloth = load_fabrics()["carbon_twill_210"]
    write_fabrics(tmp_path / "twice.json", [cloth, cloth])

    with pytest.raises(InputError, match="twice"):
        read_fabrics(tmp_path / "twice.json")


def test_a_missing_folder_is_named(tmp_path):
    with pytest.raises(InputError, match="nowhere"):
        load_fabrics(tmp_path / "nowhere")


def test_supplied_file_is_plain_json_anyone_can_edit():
    from flatten.cloth.library import SUPPLIED

    assert json.loads(SUPPLIED.read_text())["version"] == 1


@pytest.mark.parametrize(("share", "angle"), [(0.95, 18.2), (0.8, 36.9), (0.7, 45.6), (0.5, 60.0)])
def test_yarns_side_by_side_lock(share, angle):
    """cos(lock) = width / spacing: plane geometry."""
    assert locking_angle_deg(yarn_width_mm=share * 2, yarn_spacing_mm=2) == pytest.approx(
        angle, abs=0.05
    )


@pytest.mark.parametrize(("pulled", "shear"), [(0, 0), (5, 5.88), (20, 26.10), (40, 73.74)])
def test_bias_extension_gives_the_shear_of_the_middle(pulled, shear):
    """Cao et al. 2008, from memory; L0 = 100."""
    got = bias_extension_shear_deg(length_mm=200, width_mm=100, extension_mm=pulled)
    assert got == pytest.approx(shear, abs=0.01)


@pytest.mark.parametrize("width", [0, 2, 3, float("nan")])
def test_impossible_yarns_are_refused(width):
    with pytest.raises(InputError, match="yarn"):
        locking_angle_deg(yarn_width_mm=width, yarn_spacing_mm=2)


@pytest.mark.parametrize("pulled", [-1, 42, float("nan")])
def test_impossible_extensions_are_refused(pulled):
    with pytest.raises(InputError, match="extension"):
        bias_extension_shear_deg(length_mm=200, width_mm=100, extension_mm=pulled)
