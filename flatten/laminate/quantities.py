"""From plies as laid to what is weighed: cloth, resin, thickness, mass, batches."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from ..arrays import Floats
from ..cloth.fabric import Fabric
from ..errors import InputError
from ..finding import Finding
from .bounds import check_number
from .cautions import cautions_for
from .coats import CoatQuantities, coat_quantities
from .consumables import Consumables, consumables_for, uptake_g
from .fractions import fibre_volume_fraction, resin_per_fibre
from .laid import LaidPly
from .pot_checks import check_pot
from .resin import Batch, batches, check_amount, mix_of, pot_life_min, with_loss
from .rounding import add_up, nearest_step
from .settings import LaminateSettings
from .thickness import cured_thickness_mm, thickness_range_mm

__all__ = ["LaidPly", "PlyQuantities", "Quantities", "quantities"]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlyQuantities:
    """One ply's share. Areas m2, masses g, thickness mm, all `count` plies together.

    `dry_g` is the cloth that stays in the part, `cut_g` the cloth as cut, trim included.
    `net_resin_g` stays in the part; `resin_to_weigh_g`, in steps of the scale, also wets the
    trim and covers the loss. A film or peel ply weighs nothing here: it does not stay.
    """

    number: int
    ply_id: str
    name: str
    fabric: str  # Fabric.id
    angle_deg: float
    count: int
    pieces: int
    area_m2: float
    cut_area_m2: float
    dry_g: float
    cut_g: float
    net_resin_g: float
    resin_to_weigh_g: float
    thickness_mm: float  # before shear
    sheared_thickness_mm: float  # mean over the ply
    fibre_volume_fraction: float | None  # None: the ply does not stay in the part
    fibre_mass_fraction: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantities:
    """Everything the bench needs to know of a part. Areas m2, lengths m, masses g, thickness mm.

    `thickness_mm` is where all plies lie on each other, before shear; `thickness_range_mm` the
    least and largest on the part, shear included, None where no map was given. `laminate_g` is
    cloth and net resin; `part_g` adds the coats. `resin_to_weigh_g` is the sum of the plies' and
    of `uptake_to_weigh_g` (resin that peel ply, breather and mesh hold), and of the batches,
    exactly as shown.
    """

    plies: tuple[PlyQuantities, ...]
    process: str
    part_area_m2: float
    area_m2: float
    cut_area_m2: float
    cut_line_m: float  # to cut along, all pieces
    dry_g: float
    cut_g: float
    net_resin_g: float
    uptake_to_weigh_g: float
    resin_to_weigh_g: float
    thickness_mm: float
    sheared_thickness_mm: float
    thickness_range_mm: tuple[float, float] | None
    laminate_g: float
    part_g: float
    density_g_cm3: float | None
    fibre_volume_fraction: float | None
    fibre_mass_fraction: float | None
    centre_of_mass_mm: tuple[float, float, float] | None
    hardener_share: float  # of the mix, by weight
    pot_life_min: float  # at the shop's temperature
    batches: tuple[Batch, ...]
    coats: tuple[CoatQuantities, ...]
    consumables: Consumables
    cautions: tuple[str, ...]
    findings: tuple[Finding, ...]


def quantities(
    laid: Sequence[LaidPly],
    settings: LaminateSettings,
    *,
    part_area_mm2: float | None = None,
    part_perimeter_mm: float | None = None,
    laminate_mm: Floats | None = None,
) -> Quantities:
    """Work out cloth, resin, thickness and mass of the plies, and the batches to mix.

    `part_area_mm2` and `part_perimeter_mm` are of all plies together as seen on the mould, for
    coats, peel ply and bag; None: the largest ply's. `laminate_mm` (f,) is the thickness on every
    face of the mould (`thickness_map`), where plies cover only parts of it.

    Raises
    ------
    InputError : no plies, an area that is not above zero, a pot limit that makes no batch

    Source: ASTM D3171 Test Method II for fractions and thickness; the allowances are common
    practice, no source, and can all be set.
    """
    if not laid:
        raise InputError("The laminate has no plies.", "Add a ply.")
    area_m2 = _part_size("part_area_mm2", part_area_mm2, [p.mould_area_mm2 for p in laid]) * 1e-6
    edge_m = _part_size("part_perimeter_mm", part_perimeter_mm, [p.perimeter_mm for p in laid])
    edge_m *= 1e-3

    plies, uptake, total_g = _plies(laid, settings, area_m2)
    mix = mix_of(settings)
    needs = tuple((p.number, p.resin_to_weigh_g) for p in plies)
    pots = batches(nearest_step(total_g, settings.scale_step_g), mix, settings, needs)
    coats = tuple(coat_quantities(coat, settings, area_m2) for coat in settings.coats)
    total = _totals(laid, plies)
    return Quantities(
        plies=plies,
        process=settings.process,
        part_area_m2=area_m2,
        area_m2=math.fsum(p.area_m2 for p in plies),
        cut_area_m2=math.fsum(p.cut_area_m2 for p in plies),
        cut_line_m=math.fsum(p.count * p.perimeter_mm for p in laid) * 1e-3,
        dry_g=total.dry_g,
        cut_g=math.fsum(p.cut_g for p in plies),
        net_resin_g=total.resin_g,
        uptake_to_weigh_g=uptake,
        resin_to_weigh_g=total_g,
        thickness_mm=math.fsum(p.thickness_mm for p in plies),
        sheared_thickness_mm=math.fsum(p.sheared_thickness_mm for p in plies),
        thickness_range_mm=None if laminate_mm is None else thickness_range_mm(laminate_mm),
        laminate_g=total.mass_g,
        part_g=total.mass_g + math.fsum(coat.net_g for coat in coats),
        density_g_cm3=_share(total.mass_g, total.volume_cm3),
        fibre_volume_fraction=_share(total.fibre_cm3, total.volume_cm3),
        fibre_mass_fraction=_share(total.dry_g, total.mass_g),
        centre_of_mass_mm=_centre_of_mass(laid, plies),
        hardener_share=mix.hardener_share,
        pot_life_min=pot_life_min(settings),
        batches=pots,
        coats=coats,
        consumables=consumables_for(settings, area_m2, edge_m, laid=laid),
        cautions=cautions_for([ply.fabric for ply in laid], settings, pots),
        findings=tuple(check_pot(laid, settings, pots)),
    )


def check_size(areas_mm2: Sequence[tuple[Fabric, float]], settings: LaminateSettings) -> None:
    """Refuse a part far too large for its pot before any of its cloth is laid.

    `areas_mm2` are cloth and area on the mould of every ply as laid. A mould in the wrong unit
    takes minutes to drape, and is refused by `quantities` after that.

    Raises
    ------
    InputError : twice as many batches of resin as there may be
    """
    wetting_g = math.fsum(
        area * 1e-6 * fabric.areal_weight_gsm * resin_per_fibre(fabric, settings)
        for fabric, area in areas_mm2
        if fabric.dry
    )
    check_amount(with_loss(wetting_g, settings), settings)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Totals:
    """Sums over the plies that stay in the part."""

    dry_g: float
    resin_g: float
    fibre_cm3: float
    volume_cm3: float

    @property
    def mass_g(self) -> float:
        return self.dry_g + self.resin_g


def _totals(laid: Sequence[LaidPly], plies: Sequence[PlyQuantities]) -> _Totals:
    return _Totals(
        dry_g=math.fsum(p.dry_g for p in plies),
        resin_g=math.fsum(p.net_resin_g for p in plies),
        fibre_cm3=math.fsum(
            part.dry_g / ply.fabric.fibre_density_g_cm3
            for ply, part in zip(laid, plies, strict=True)
        ),
        # m2 times mm is a thousand cm3; the areas are of all repeats, and so is the thickness
        volume_cm3=1e3 * math.fsum(p.area_m2 * p.sheared_thickness_mm / p.count for p in plies),
    )


def _share(part: float, whole: float) -> float | None:
    return part / whole if whole else None


def _plies(
    laid: Sequence[LaidPly], settings: LaminateSettings, area_m2: float
) -> tuple[tuple[PlyQuantities, ...], float, float]:
    """Return the plies, the uptake and the total of resin, in steps of the scale that add up."""
    net = [_wetting_g(ply, settings) for ply in laid]
    net.append(uptake_g(laid, settings, area_m2) if any(net) else 0.0)
    total = math.fsum(net)
    loss = with_loss(total, settings) / total if total else 1.0
    shown, total_g = add_up([grams * loss for grams in net], settings.scale_step_g)
    plies = tuple(_ply(ply, settings, g) for ply, g in zip(laid, shown[:-1], strict=True))
    return plies, shown[-1], total_g


def _part_size(field: str, given: float | None, of_plies: list[float]) -> float:
    if given is None:
        return max(of_plies)
    # A part closed all round has no rim.
    check_number("Laminate", field, given, high=1e13, open_ends=field != "part_perimeter_mm")
    return given


def _dry_g(ply: LaidPly) -> float:
    """Return the mass of the cloth on the part: areal weight, heavier where sheared."""
    return ply.area_m2 * ply.fabric.areal_weight_gsm * ply.mean_inverse_cos_shear


def _wetting_g(ply: LaidPly, settings: LaminateSettings) -> float:
    """Return the resin that wets the ply as cut, trim included, without loss."""
    if not ply.fabric.dry:
        return 0.0
    cut = max(ply.cut_area_m2 * ply.fabric.areal_weight_gsm, _dry_g(ply))
    return cut * resin_per_fibre(ply.fabric, settings)


def _ply(ply: LaidPly, settings: LaminateSettings, to_weigh_g: float) -> PlyQuantities:
    stays, fabric = ply.fabric.dry, ply.fabric
    dry = _dry_g(ply) if stays else 0.0
    ratio = resin_per_fibre(fabric, settings)
    thickness = cured_thickness_mm(fabric, settings, count=ply.count)
    return PlyQuantities(
        number=ply.number,
        ply_id=ply.ply_id,
        name=ply.name,
        fabric=fabric.id,
        angle_deg=ply.angle_deg,
        count=ply.count,
        pieces=ply.pieces,
        area_m2=ply.area_m2,
        cut_area_m2=ply.cut_area_m2,
        dry_g=dry,
        cut_g=ply.cut_area_m2 * fabric.areal_weight_gsm if stays else 0.0,
        net_resin_g=dry * ratio,
        resin_to_weigh_g=to_weigh_g,
        thickness_mm=thickness,
        sheared_thickness_mm=thickness * ply.mean_inverse_cos_shear,
        fibre_volume_fraction=fibre_volume_fraction(fabric, settings) if stays else None,
        fibre_mass_fraction=1 / (1 + ratio) if stays else None,
    )


def _centre_of_mass(
    laid: Sequence[LaidPly], plies: Sequence[PlyQuantities]
) -> tuple[float, float, float] | None:
    """Return the middle of the plies' middles, by mass; None where one is not known."""
    total = math.fsum(p.dry_g + p.net_resin_g for p in plies)
    sums = [0.0, 0.0, 0.0]
    for ply, part in zip(laid, plies, strict=True):
        share = (part.dry_g + part.net_resin_g) / total if total else 0.0
        if not share:
            continue
        if ply.centroid_mm is None:
            return None
        sums = [s + share * x for s, x in zip(sums, ply.centroid_mm, strict=True)]
    return (sums[0], sums[1], sums[2]) if total else None
