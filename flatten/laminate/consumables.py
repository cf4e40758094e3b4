"""What is used up beside cloth and resin, and the resin it takes with it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from ..cloth.fabric import Fabric
from .laid import LaidPly
from .process import Process, process_of
from .settings import LaminateSettings


@dataclass(frozen=True, slots=True, kw_only=True)
class Consumables:
    """Areas m2, tape m, release agent g for all coats. Zero: the process does not use it."""

    peel_ply_m2: float
    film_m2: float  # release film, perforated, between peel ply and breather
    breather_m2: float
    flow_mesh_m2: float
    bag_m2: float
    tape_m: float  # sealant tape round the bag
    release_coats: int
    release_g: float


def consumables_for(
    settings: LaminateSettings,
    area_m2: float,
    perimeter_m: float,
    *,
    laid: Sequence[LaidPly] = (),
) -> Consumables:
    """Return what to have at hand for a part of this area and perimeter.

    Factors are the settings'; their defaults are common practice, no source.
    """
    used, process = settings.consumed, process_of(settings.process)
    breather = _has_breather(settings, process)
    peel_ply = _has_peel_ply(settings, process, laid)
    return Consumables(
        peel_ply_m2=area_m2 * used.peel_ply_factor if peel_ply else 0.0,
        film_m2=area_m2 * used.film_factor if breather else 0.0,
        breather_m2=area_m2 * used.breather_factor if breather else 0.0,
        flow_mesh_m2=area_m2 * used.flow_mesh_factor if process.flow_mesh else 0.0,
        bag_m2=area_m2 * used.bag_factor if process.bagged else 0.0,
        tape_m=perimeter_m * used.tape_factor if process.bagged else 0.0,
        release_coats=used.release_coats,
        release_g=area_m2 * used.release_gsm * used.release_coats,
    )


def cut_as_covers(covers: Sequence[Fabric], used: Consumables) -> frozenset[str]:
    """Return which of what is used up these cloths are, cut as covers: fields of `Consumables`.

    Woven is peel ply, felt is breather. The first film is the release film where the process has
    one, the next one the bag.
    """
    films = ["film_m2", "bag_m2"] if used.film_m2 > 0 else ["bag_m2"]
    found = {"weave": "peel_ply_m2", "mat": "breather_m2"}
    kinds = [fabric.kind for fabric in covers if not fabric.dry]
    woven = {found[kind] for kind in kinds if kind in found}
    return frozenset(woven | set(films[: kinds.count("film")]))


def uptake_g(laid: Sequence[LaidPly], settings: LaminateSettings, area_m2: float) -> float:
    """Return the resin that peel ply, breather, flow mesh and lines hold, in grams.

    A peel ply that stands in the stack as a ply of its own (a woven cloth that does not stay in
    the part) is counted by its own cut area.
    """
    used, process = settings.consumed, process_of(settings.process)
    gsm = 0.0
    if _has_peel_ply(settings, process, laid):
        gsm += used.peel_ply_uptake_gsm
    if _has_breather(settings, process):
        gsm += used.breather_uptake_gsm
    if process.flow_mesh:
        gsm += used.flow_mesh_uptake_gsm
    in_stack = used.peel_ply_uptake_gsm * math.fsum(p.cut_area_m2 for p in peel_plies(laid))
    return area_m2 * gsm + in_stack + (used.lines_g if process.flow_mesh else 0.0)


def peel_plies(laid: Sequence[LaidPly]) -> list[LaidPly]:
    """Return the plies of the stack that are peel ply: woven, and torn off again."""
    return [ply for ply in laid if not ply.fabric.dry and ply.fabric.kind != "film"]


def _has_peel_ply(settings: LaminateSettings, process: Process, laid: Sequence[LaidPly]) -> bool:
    """Return whether peel ply is needed beside the stack: one that is drawn as a ply will do."""
    chosen = settings.consumed.peel_ply
    return process.bagged and not peel_plies(laid) if chosen is None else chosen


def _has_breather(settings: LaminateSettings, process: Process) -> bool:
    """Return whether film and breather lie under the bag; in an infusion the mesh does."""
    chosen = settings.consumed.breather
    return process.bagged and not process.flow_mesh if chosen is None else chosen
