"""Short safety sentences beside the numbers. The data sheets decide."""

from __future__ import annotations

from collections.abc import Sequence

from ..cloth.fabric import Fabric
from .resin import Batch
from .settings import LaminateSettings

LARGE_BATCH_G = 100.0  # left in a pot it can pass 200 °C: makers' safety and handling pages
CATALYST_SHARE = 0.05  # so little hardener points to a peroxide catalyst; common practice


def cautions_for(
    fabrics: Sequence[Fabric], settings: LaminateSettings, pots: Sequence[Batch]
) -> tuple[str, ...]:
    """Return the cautions for this laminate, the most general first.

    Sources: HSE RR79 and construction dermatitis pages, EU-OSHA on epoxy resins (sensitising,
    gloves); OSHA Technical Manual, section III ch. 1 (ventilation, dust); makers' safety pages
    (exotherm, ratio).
    """
    said = [
        "Numbers here are estimates: data sheets, local rules and a licensed practitioner decide.",
        "Uncured resin and hardener can sensitise skin for life: nitrile or butyl gloves, changed "
        "often, no skin contact; latex does not protect.",
        "Wear eye protection. Keep air moving where you mix and cure.",
    ]
    if pots:
        said.append(
            "Weigh both parts to the ratio; never change it to alter the speed. Stir 2 minutes, "
            "scrape the walls."
        )
        said.append(_exotherm(pots))
    if settings.shop_c > settings.pot_life_at_c:
        said.append(
            f"The shop is warmer than the data sheet's {settings.pot_life_at_c:g} °C: the mix "
            "sets sooner."
        )
    if _uses_catalyst(settings):
        said.append(
            "Peroxide catalyst burns eyes and starts fires: goggles on, never let it touch "
            "accelerator or rags."
        )
    said.append("Trimming and sanding: extract at the source or wet, wear a fitted dust mask.")
    if any(fabric.fibre == "carbon" and fabric.dry for fabric in fabrics):
        said.append("Carbon dust conducts: keep it away from motors, chargers and sockets.")
    said.append("Cured edges and stray fibres cut: gloves on until the edges are sealed.")
    return tuple(said)


def _exotherm(pots: Sequence[Batch]) -> str:
    largest = max(pot.total_g for pot in pots)
    if largest >= LARGE_BATCH_G:
        return (
            f"A batch of {largest:.0f} g left in the pot can pass 200 °C, smoke and burn: pour it "
            "into a wide tray at once; carry a hot pot outdoors."
        )
    return "Mixed resin heats in the pot: spread it at once; carry a hot pot outdoors."


def _uses_catalyst(settings: LaminateSettings) -> bool:
    ratios = [(coat.mix_resin, coat.mix_hardener) for coat in settings.coats]
    ratios.append((settings.mix_resin, settings.mix_hardener))
    return any(hardener / resin <= CATALYST_SHARE for resin, hardener in ratios)
