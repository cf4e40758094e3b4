"""Findings about fractions, pot and scale: numbers that can be weighed but should be seen."""

from __future__ import annotations

from collections.abc import Sequence

from ..finding import Finding
from .fractions import fibre_volume_fraction
from .laid import LaidPly
from .process import process_of
from .resin import Batch, largest_batch_g, mix_of, pot_life_min
from .settings import LaminateSettings

OFF_RANGE = 0.05  # a fraction this far outside the process's usual range is worth a word
DENSEST = 0.785  # pi/4: round fibres in square packing; no cloth gets there
OFF_RATIO = 0.02  # of the mixing ratio, by rounding to the scale; common practice
SHORT_MIN = 8.0  # minutes in which nobody wets out a batch


def check_pot(
    laid: Sequence[LaidPly], settings: LaminateSettings, pots: Sequence[Batch]
) -> list[Finding]:
    """Return findings on the fibre fraction, the scale's step and the working time."""
    return [
        *_fraction_findings(laid, settings),
        *_scale_findings(settings, pots),
        *_time_findings(settings, pots),
    ]


def _fraction_findings(laid: Sequence[LaidPly], settings: LaminateSettings) -> list[Finding]:
    process, found = process_of(settings.process), []
    low, high = process.usual
    shares = {p.fabric.id: p.fabric for p in laid if p.fabric.dry and p.fabric.kind != "mat"}
    for fabric in shares.values():
        share = fibre_volume_fraction(fabric, settings)
        if low - OFF_RANGE <= share <= high + OFF_RANGE:
            continue
        found.append(
            Finding(
                code="fibre_fraction_unusual",
                severity="warning",
                message=(
                    f"Cloth '{fabric.name}': fibre volume fraction {share:.2f}; "
                    + (
                        f"{process.name.lower()} usually reaches {low:.2f} to {high:.2f}."
                        if share < DENSEST
                        else "round fibres side by side fill no more than 0.785."
                    )
                ),
                hint="Check the fraction and the process; weigh a test panel.",
            )
        )
    return found


def _scale_findings(settings: LaminateSettings, pots: Sequence[Batch]) -> list[Finding]:
    share = mix_of(settings).hardener_share
    wanted = share / (1 - share)
    off = [abs(pot.hardener_g / pot.resin_g / wanted - 1) if pot.resin_g else 1.0 for pot in pots]
    if not off or max(off) <= OFF_RATIO:
        return []
    return [
        Finding(
            code="batch_too_small_to_weigh",
            severity="warning",
            message=(
                f"On a scale that shows {settings.scale_step_g:g} g the mixing ratio of a batch "
                f"is off by {100 * max(off):.1f} %."
            ),
            hint="Use a finer scale, or mix a little more.",
        )
    ]


def _time_findings(settings: LaminateSettings, pots: Sequence[Batch]) -> list[Finding]:
    life = pot_life_min(settings)
    if not pots or life / 2 >= SHORT_MIN:
        return []
    return [
        Finding(
            code="pot_life_short",
            severity="warning",
            message=(
                f"At {settings.shop_c:g} °C the pot life is about {life:.0f} min; a batch of up "
                f"to {largest_batch_g(settings):.0f} g must be spread in {life / 2:.0f} min."
            ),
            hint="Work cooler, or use a slower hardener.",
        )
    ]
