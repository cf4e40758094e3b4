"""Fibre fraction by mass and by volume: either given, the other follows.

Source: ASTM D3171, Test Method II (areal weight and thickness, no voids); the relation is the
rule of mixtures found in every textbook on laminates.
"""

from __future__ import annotations

from ..cloth.fabric import Fabric
from .bounds import check_number, check_share
from .process import process_of
from .settings import LaminateSettings


def volume_fraction(
    mass_share: float, *, fibre_density_g_cm3: float, resin_density_g_cm3: float
) -> float:
    """Return the fibre's share of the volume from its share of the mass.

    Raises
    ------
    InputError : a share outside (0, 1), a density that is not above zero
    """
    check_share("Laminate", "fibre_mass_fraction", mass_share)
    _check_densities(fibre_density_g_cm3, resin_density_g_cm3)
    fibre = mass_share / fibre_density_g_cm3
    return fibre / (fibre + (1 - mass_share) / resin_density_g_cm3)


def fibre_volume_fraction(fabric: Fabric, settings: LaminateSettings) -> float:
    """Return the fibre volume fraction a ply of this cloth ends up with."""
    process = process_of(settings.process)
    if fabric.kind == "mat":
        given = settings.mat_fibre_volume_fraction
        return process.mat_fibre if given is None else given
    if settings.fibre_mass_fraction is not None:
        return volume_fraction(
            settings.fibre_mass_fraction,
            fibre_density_g_cm3=fabric.fibre_density_g_cm3,
            resin_density_g_cm3=settings.resin_density_g_cm3,
        )
    given = settings.fibre_volume_fraction
    return process.fibre if given is None else given


def resin_per_fibre(fabric: Fabric, settings: LaminateSettings) -> float:
    """Return grams of resin for each gram of dry cloth: (1 - W) / W."""
    share = fibre_volume_fraction(fabric, settings)
    fibre = share * fabric.fibre_density_g_cm3
    return (1 - share) * settings.resin_density_g_cm3 / fibre


def _check_densities(fibre: float, resin: float) -> None:
    hint = "Enter the density in g/cm3, as the data sheet gives it."
    check_number("Cloth", "fibre_density_g_cm3", fibre, high=25, hint=hint)
    check_number("Laminate", "resin_density_g_cm3", resin, high=25, hint=hint)
