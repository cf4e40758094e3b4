"""Where a dart would let the cloth lie down: proposals, each draped again, never changes."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import Floats, frozen_floats
from ..errors import InputError, SolveError
from ..progress import Progress, part_of, silent
from ..surface.cut import Cut, cut
from ..surface.mesh import MouldMesh, SurfaceMesh
from ..surface.refine import EDGE_MM, EDGE_SHARE
from ..surface.region import Region
from .drape import Drape, Method, drape_surface
from .fabric import Fabric
from .relief_cuts import cuts_of, faces_under, starts_of
from .relief_line import NO_SLITS
from .relief_mesh import coarser
from .relief_orbit import Orbit, orbits_of
from .relief_part import PartDraper, part_at_zones, splice_proposals
from .relief_proposal import Lie, Proposal, lies_of
from .relief_search import (
    LEFT_LOCKED,
    ROUGH_DEG,
    find_lengths,
    lengthen,
    reference_mesh,
    refine_lengths,
    remembered,
    sought_mesh,
    within_steps,
)
from .relief_zones import locked_zones

__all__ = ["Lie", "Proposal", "propose_relief"]

# Darts are sought on no more than about this many triangles: a finer mesh gains nothing.
SOUGHT_ON_FACES = 30_000
# Their lengths are found first on triangles larger than usual, but for along the darts.
FEW_EDGES, FEW_ALONG = 2.0, 0.8
# So many steps lay such cloth if it lies down; where one dart is sought, more tell that it locks.
MOST_STEPS = 150
CARRIED_ON_MM = (0.0, 2.0, 4.0)  # where the cloth as cut would lock a little more than searched


def propose_relief(
    surface: SurfaceMesh,
    fabric: Fabric,
    *,
    tack_mm: ArrayLike,
    warp: ArrayLike,
    method: Method = "worked_out",
    max_edge_mm: float | None = None,
    thorough: bool = True,
    slits: Floats = NO_SLITS,
    progress: Progress = silent,
) -> list[Proposal]:
    """Return darts that let a cloth lie down that locks; none where it lies down already.

    Each zone that locks gets one straight dart, from where the rim is nearest, just long enough;
    where mould and cloth repeat over a plane, so do the darts. The lengths are found by draping
    again with all of them, on a mesh refined where they end. Where darts are not enough the cloth
    is parted along threads instead, if that leaves less of it locked.

    Parameters
    ----------
    surface, fabric, tack_mm, warp, method, max_edge_mm : as for `drape_surface`
    thorough : find the lengths on a fine mesh of their own, so that they depend on the given
        one by a millimetre or two; else on the drape's mesh, several times quicker
    slits : (k, 2, 3) mm, edges of the surface's boundary that are sides of cuts already there;
        no dart starts from them
    progress : called with the share done, at every step of every drape; may raise Cancelled

    Raises
    ------
    InputError, SolveError : as `drape_surface`; even with darts the cloth does not come to rest
    """
    tack, along = frozen_floats("tack_mm", tack_mm, (3,)), frozen_floats("warp", warp, (3,))

    share = 0.0

    def step(done: float, what: str) -> None:
        nonlocal share
        share = done
        progress(done, what)

    def hear(done: float, what: str) -> None:
        progress(share, what)  # a drape's own share would run to and fro

    def drape_part(
        part: SurfaceMesh,
        tack_there: Floats,
        warp_there: Floats,
        edge_mm: float | None = max_edge_mm,
        heard: Progress = hear,
    ) -> Drape:
        return drape_surface(
            part,
            fabric,
            tack_mm=tack_there,
            warp=warp_there,
            method=method,
            max_edge_mm=edge_mm,
            progress=heard,
        )

    drape = remembered(lambda mesh: drape_part(mesh, tack, along))
    step(0.0, "draping without darts")
    plain = drape(coarser(surface, SOUGHT_ON_FACES))
    zones = locked_zones(plain, fabric)
    if not zones:
        return []
    base = plain.fine.surface
    orbits = orbits_of(base, plain, fabric, zones, slits)
    if not orbits:
        return []
    part = part_of(step, 0.1, 0.4)
    fine = base
    if not thorough:
        find_lengths(base, orbits, fabric, drape, part)
    else:
        usual = max_edge_mm or min(EDGE_MM, EDGE_SHARE * surface.spread_mm)
        few = sought_mesh(surface, orbits, FEW_ALONG * usual)

        def roughly(mesh: SurfaceMesh) -> Drape | None:
            return within_steps(
                lambda heard: drape_part(mesh, tack, along, FEW_EDGES * usual, heard),
                MOST_STEPS if len(orbits) == 1 else None,
                hear,
            )

        find_lengths(few, orbits, fabric, roughly, part, margin_deg=ROUGH_DEG)
        fine = reference_mesh(base, orbits)
        refine_lengths(fine, orbits, fabric, drape, part_of(step, 0.4, 0.8))
    found = [orbit.length_mm for orbit in orbits]
    darted = lengthen(fine, orbits, fabric, drape, part_of(step, 0.8, 0.9))
    if not darted.converged and fine is not base:
        for orbit, length in zip(orbits, found, strict=True):
            orbit.length_mm = length
        darted = lengthen(base, orbits, fabric, drape, part_of(step, 0.9, 1.0))
    proposals, at_rest = _accepted(
        plain, darted, orbits, fabric, surface, drape, lambda: hear(share, "cutting the darts")
    )
    if not (at_rest and all(orbit.enough for orbit in orbits)):
        step(0.95, "draping with splices instead")
        proposals = _parted(plain, proposals, at_rest, fabric, surface, drape_part)
    step(1.0, "cuts proposed")
    return proposals if _gain_mm2(proposals) > 0 else []


def _gain_mm2(proposals: Sequence[Proposal]) -> float:
    """Return how much less is locked with the proposals; splices of one piece share their lie."""
    before = {id(one.before): one.before.locked_mm2 for one in proposals}
    after = {id(one.after): one.after.locked_mm2 for one in proposals}
    return sum(before.values()) - sum(after.values())


def _accepted(
    plain: Drape,
    darted: Drape,
    orbits: Sequence[Orbit],
    fabric: Fabric,
    surface: SurfaceMesh,
    drape: Callable[[SurfaceMesh], Drape],
    listen: Callable[[], None],
) -> tuple[list[Proposal], bool]:
    """Return the darts as proposals, with how the cloth lies once they are cut, and if it rests.

    Laid as the ply with these cuts will be: on the given surface, cut along their paths. Where
    that leaves more locked than may stay, on triangles that are larger there, the darts are
    carried on a little. `listen` is called between the steps; may raise Cancelled.
    """
    whole = Region("piece", np.arange(len(surface.faces)))
    mould = MouldMesh(surface.vertices, surface.faces)
    lengths = [orbit.length_mm for orbit in orbits]
    zones = faces_under(surface, plain, orbits)
    listen()
    best: tuple[tuple[bool, float], list[Proposal]] | None = None
    for on_mm in CARRIED_ON_MM:
        for orbit, length in zip(orbits, lengths, strict=True):
            orbit.length_mm = min(length + on_mm, orbit.longest_mm)
        cuts = cuts_of(plain, orbits, fabric, surface)
        listen()
        try:
            patches = cut(mould, whole, cuts)
            listen()
            laid = drape(patches[0].surface) if len(patches) == 1 else darted
        except InputError:  # the cuts cannot be made as they are: a person moves them
            laid = darted
        found = _proposals(plain, laid, cuts, zones, orbits, fabric)
        locked = sum(one.after.locked_share for one in found)
        if best is None or (not laid.converged, locked) < best[0]:
            best = (not laid.converged, locked), found
        if laid is darted or (laid.converged and locked <= LEFT_LOCKED):
            break
        if not all(orbit.enough for orbit in orbits):
            break
    assert best is not None
    return best[1], not best[0][0]


def _parted(
    plain: Drape,
    darts: list[Proposal],
    at_rest: bool,
    fabric: Fabric,
    surface: SurfaceMesh,
    drape: PartDraper,
) -> list[Proposal]:
    """Return the proposals with splices in place of the darts that are not enough, if better."""
    kept = [dart for dart in darts if dart.enough and at_rest]
    weak = [dart for dart in darts if dart not in kept]
    middles = [surface.corners[list(d.faces)].mean(axis=(0, 1)) for d in weak if d.faces]
    parted = part_at_zones(plain, fabric, middles, [dart.cut for dart in kept], drape)
    rests = parted is not None and all(laid.converged for laid in parted.drapes)
    if parted is None or not rests:
        if at_rest:
            return darts
        raise SolveError(
            "The cloth does not come to rest here, so it cannot be said where to cut it.",
            "Draw a first dart or splice where the mould is deepest, or move the tack point; "
            "then ask again.",
        )
    splices = splice_proposals(parted, weak, surface, len({d.set_number for d in kept}) + 1)
    if at_rest and splices[0].after.locked_mm2 >= sum(dart.after.locked_mm2 for dart in weak):
        return darts
    return [*kept, *splices]


def _proposals(
    plain: Drape,
    darted: Drape,
    cuts: Sequence[Cut],
    zones: Sequence[tuple[int, ...]],
    orbits: Sequence[Orbit],
    fabric: Fabric,
) -> list[Proposal]:
    """Return the darts as proposals: cuts and zones in the order of the orbits' lines."""
    middles = starts_of(orbits)
    before = lies_of([plain], fabric, middles, np.zeros((0, 3)))
    after = lies_of([darted], fabric, middles, np.array([one.path[-1] for one in cuts]))
    owners = [(number, one) for number, one in enumerate(orbits, start=1) for _ in one.lines]
    return [
        Proposal(
            cut=cuts[k],
            set_number=number,
            length_mm=orbit.length_mm,
            faces=zones[k],
            before=before[k],
            after=after[k],
            accept_deg=float(np.ceil(before[k].shear_deg)),
            enough=orbit.enough,
        )
        for k, (number, orbit) in enumerate(owners)
    ]
