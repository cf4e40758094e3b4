"""Coats of resin without cloth: gel coat, surface coat, flow coat; by area and thickness."""

from __future__ import annotations

from dataclasses import dataclass

from .resin import Batch, Mix, batches
from .rounding import nearest_step, steps_to_value
from .settings import Coat, LaminateSettings


@dataclass(frozen=True, slots=True, kw_only=True)
class CoatQuantities:
    """One coat over the part: g and mm. `net_g` stays, `to_weigh_g` also covers the loss."""

    kind: str
    thickness_mm: float
    net_g: float
    to_weigh_g: float
    batches: tuple[Batch, ...]


def coat_quantities(coat: Coat, settings: LaminateSettings, area_m2: float) -> CoatQuantities:
    """Return what to weigh for a coat: area, thickness and density, with loss, in batches.

    The pot's limit, pot life and spreading rate are the laminating resin's.
    """
    net_g = area_m2 * coat.thickness_mm * coat.density_g_cm3 * 1e3
    steps = nearest_step(net_g * (1 + coat.loss), settings.scale_step_g)
    mix = Mix(resin=coat.mix_resin, hardener=coat.mix_hardener)
    return CoatQuantities(
        kind=coat.kind,
        thickness_mm=coat.thickness_mm,
        net_g=net_g,
        to_weigh_g=steps_to_value(steps, settings.scale_step_g),
        batches=batches(steps, mix, settings, ()),
    )
