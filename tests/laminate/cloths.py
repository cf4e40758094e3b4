"""Cloths and plies the laminate's tests share."""

from dataclasses import replace

from flatten.cloth.fabric import Fabric
from flatten.laminate.laid import LaidPly
from flatten.laminate.ply import Ply

CARBON = Fabric(
    id="carbon_twill_210",
    name="Carbon 2/2 twill 210",
    kind="weave",
    areal_weight_gsm=210,
    fibre_density_g_cm3=1.78,
    dry_thickness_mm=0.3,
    roll_width_mm=1270,
    shear_lock_deg=50,
    balanced=True,
    fibre="carbon",
)
GLASS = replace(
    CARBON,
    id="glass_200",
    name="Glass 200",
    areal_weight_gsm=200,
    fibre_density_g_cm3=2.55,
    fibre="glass",
)
ARAMID = replace(
    CARBON,
    id="aramid_173",
    name="Aramid 173",
    areal_weight_gsm=173,
    fibre_density_g_cm3=1.44,
    fibre="aramid",
)
TAPE = replace(
    CARBON,
    id="carbon_ud_150",
    name="Carbon UD 150",
    kind="unidirectional",
    areal_weight_gsm=150,
    balanced=False,
    fibre_angles_deg=(0.0,),
)
BIAX = replace(
    GLASS,
    id="glass_biax_300",
    name="Glass biaxial 300",
    kind="biaxial",
    areal_weight_gsm=300,
    balanced=False,
    fibre_angles_deg=(45.0, -45.0),
    has_face=True,
)
MAT = replace(
    GLASS,
    id="glass_mat_450",
    name="Glass mat 450",
    kind="mat",
    areal_weight_gsm=450,
    shear_lock_deg=None,
    balanced=False,
)
PEEL_PLY = replace(CARBON, id="peel_ply", name="Peel ply", areal_weight_gsm=85, dry=False, fibre="")
FILM = replace(PEEL_PLY, id="film", name="Release film", kind="film", shear_lock_deg=None)


def laid(number=1, fabric=CARBON, area_m2=1.0, **more):
    """A ply on the mould, cut without trim unless told otherwise."""
    given = {
        "ply_id": f"p{number}",
        "name": f"ply {number}",
        "angle_deg": 0.0,
        "mould_area_mm2": area_m2 * 1e6,
        "cut_area_mm2": area_m2 * 1e6,
        "perimeter_mm": 4000 * area_m2**0.5,
    }
    return LaidPly(number=number, fabric=fabric, **(given | more))


def design(ply_id="a", **more):
    """A ply as designed, of carbon twill on four faces unless told otherwise."""
    given = {"name": f"ply {ply_id}", "faces": [0, 1, 2, 3], "fabric": CARBON.id}
    return Ply(id=ply_id, **(given | more))
