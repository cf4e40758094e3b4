"""Resin in the pot: mixing ratio, working time, and batches small enough to be used in time.

A ratio is by weight or by volume, never both: `Mix` knows which, and gives the other only from
the densities of the two liquids.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from ..errors import InputError
from .bounds import check_choice, check_not_negative, check_number
from .rounding import nearest_step, steps_to_value
from .settings import LaminateSettings, MixBy, check_ratio

HALVING_C = 10.0  # every 10 degrees warmer halve the pot life; common practice, no source
HOT_C = 32.2  # 90 F: above it half the working time. US Army TM 1-1500-204-23-11, ch. 7
SHARE_OF_POT_LIFE = 0.5  # of the pot life a batch may take to spread; common practice
MOST_BATCHES = 999


@dataclass(frozen=True, slots=True, kw_only=True)
class Mix:
    """Mixing ratio of resin to hardener, `by` weight or volume; densities of the liquids."""

    resin: float
    hardener: float
    by: MixBy = "weight"
    resin_g_cm3: float | None = None
    hardener_g_cm3: float | None = None

    def __post_init__(self) -> None:
        """Refuse a ratio that leaves a part out, or by volume without densities."""
        check_choice("Mixing ratio", "by", self.by, ("weight", "volume"))
        check_ratio("Laminate", self.resin, self.hardener)
        for field in ("resin_g_cm3", "hardener_g_cm3"):
            if getattr(self, field) is not None:
                check_number("Mixing ratio", field, getattr(self, field), high=25)
        if self.by == "volume" and not self.has_densities:
            raise InputError(
                f"Mixing ratio {self.resin:g}:{self.hardener:g} by volume lacks a density.",
                "Enter both liquid densities, or the ratio by weight.",
            )

    @property
    def has_densities(self) -> bool:
        """Whether both liquids' densities are known."""
        return self.resin_g_cm3 is not None and self.hardener_g_cm3 is not None

    @property
    def hardener_share(self) -> float:
        """Hardener's share of the weight of the mix."""
        if self.by == "weight":
            return self.hardener / (self.resin + self.hardener)
        resin = self.resin * (self.resin_g_cm3 or 0.0)
        hardener = self.hardener * (self.hardener_g_cm3 or 0.0)
        return hardener / (resin + hardener)

    def split(self, total_g: float) -> tuple[float, float]:
        """Return grams of resin and of hardener in `total_g` of mix."""
        check_not_negative("Mixing", "total_g", total_g)
        hardener = total_g * self.hardener_share
        return total_g - hardener, hardener


@dataclass(frozen=True, slots=True, kw_only=True)
class Batch:
    """One pot: weigh these. `resin_g` and `hardener_g` add up to `total_g` exactly.

    Millilitres are None where a liquid's density is not known. `plies` are the numbers of the
    plies it wets, in laying order; it is to be spread within `spread_min` minutes of mixing.
    """

    number: int
    total_g: float
    resin_g: float
    hardener_g: float
    resin_ml: float | None
    hardener_ml: float | None
    plies: tuple[int, ...]
    spread_min: float


def mix_of(settings: LaminateSettings) -> Mix:
    """Return the mixing ratio of the laminating resin."""
    return Mix(
        resin=settings.mix_resin,
        hardener=settings.mix_hardener,
        by=settings.mix_by,
        resin_g_cm3=settings.liquid_resin_density_g_cm3,
        hardener_g_cm3=settings.hardener_density_g_cm3,
    )


def with_loss(net_g: float, settings: LaminateSettings) -> float:
    """Return what to weigh so that `net_g` reaches the cloth: with what brush and cup keep.

    A share of the resin (12 %), but of a small job more (20 %), and from there on no less than
    the small job's grams until the share has caught up. Common practice, no source: 10 to 15 %,
    small jobs 20 %.
    """
    small = settings.small_loss * min(net_g, settings.small_job_g)
    return net_g + max(settings.brush_loss * net_g, small)


def pot_life_min(settings: LaminateSettings) -> float:
    """Return the pot life at the shop's temperature, from the data sheet's at its own.

    Halved for each 10 degrees above the data sheet's temperature; above 90 F (32 C) at most half
    of the data sheet's. In the cold the resin lives longer, but no more than twice is counted:
    it also spreads more slowly then.
    """
    factor = 2 ** ((settings.pot_life_at_c - settings.shop_c) / HALVING_C)
    if settings.shop_c > HOT_C and settings.pot_life_at_c <= HOT_C:
        factor = min(factor, 0.5)
    return settings.pot_life_min * min(factor, 2.0)


def spread_min(settings: LaminateSettings) -> float:
    """Return the minutes in which a batch must be out of the pot: half the pot life."""
    return SHARE_OF_POT_LIFE * pot_life_min(settings)


def largest_batch_g(settings: LaminateSettings) -> float:
    """Return the largest batch: the pot's limit, or what can be spread in time, if less."""
    return min(settings.pot_limit_g, settings.spread_g_per_min * spread_min(settings))


def batches(
    total_steps: int, mix: Mix, settings: LaminateSettings, needs: tuple[tuple[int, float], ...]
) -> tuple[Batch, ...]:
    """Split `total_steps` of the scale into equal batches, each no larger than allowed.

    `needs`: ply number and grams, in laying order; says which plies a batch is for.

    Raises
    ------
    InputError : the limit is below one step of the scale, or there would be 1000 batches
    """
    count = _count(total_steps, settings, MOST_BATCHES)
    made, before = [], 0
    for number in range(1, count + 1):
        size = total_steps // count + (number <= total_steps % count)
        plies = _plies_wetted(before, before + size, total_steps, needs)
        made.append(_batch(number, size, mix, settings, plies))
        before += size
    return tuple(made)


def check_amount(total_g: float, settings: LaminateSettings) -> None:
    """Refuse resin for twice as many batches as there may be: so rough a total can be that wrong.

    Raises
    ------
    InputError : see `batches`
    """
    _count(nearest_step(total_g, settings.scale_step_g), settings, 2 * MOST_BATCHES)


def _count(total_steps: int, settings: LaminateSettings, most: int) -> int:
    """Return how many batches `total_steps` of the scale make."""
    step = settings.scale_step_g
    limit = math.floor(largest_batch_g(settings) / step + 1e-9)
    if limit < 1:
        raise InputError(
            f"Laminate: the largest batch is {largest_batch_g(settings):.3g} g, less than the "
            f"scale shows ({step:g} g).",
            "Raise pot_limit_g or pot_life_min, or work cooler.",
        )
    count = math.ceil(total_steps / limit)
    if count > most:
        raise InputError(
            f"Laminate: {total_steps * step / 1e3:.3g} kg of resin make {count} batches of "
            f"{limit * step:.4g} g.",
            "Check the mould's unit; else raise pot_limit_g, pot_life_min or, with more hands, "
            "spread_g_per_min.",
        )
    return count


def _batch(
    number: int, size: int, mix: Mix, settings: LaminateSettings, plies: tuple[int, ...]
) -> Batch:
    step = settings.scale_step_g
    hardener = nearest_step(mix.split(size * step)[1], step)
    resin_ml = hardener_ml = None
    if mix.resin_g_cm3 is not None and mix.hardener_g_cm3 is not None:
        resin_ml = round((size - hardener) * step / mix.resin_g_cm3, 1)
        hardener_ml = round(hardener * step / mix.hardener_g_cm3, 1)
    return Batch(
        number=number,
        total_g=steps_to_value(size, step),
        resin_g=steps_to_value(size - hardener, step),
        hardener_g=steps_to_value(hardener, step),
        resin_ml=resin_ml,
        hardener_ml=hardener_ml,
        plies=plies,
        spread_min=spread_min(settings),
    )


def _plies_wetted(
    first: int, last: int, total: int, needs: tuple[tuple[int, float], ...]
) -> tuple[int, ...]:
    """Return the plies whose share of the resin falls into steps `first` to `last` of `total`."""
    need = math.fsum(grams for _, grams in needs)
    start, end = need * first / total, need * last / total
    slack, before, found = 1e-9 * need, 0.0, []
    for number, grams in needs:
        if grams > 0 and before < end - slack and before + grams > start + slack:
            found.append(number)
        before += grams
    return tuple(found)
