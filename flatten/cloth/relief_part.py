"""Where a dart is not enough: the cloth parted along a thread, each part draped again."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..arrays import Floats
from ..errors import InputError
from ..surface.cut import Cut, cut
from ..surface.locate import locate
from ..surface.mesh import MouldMesh, SurfaceMesh
from ..surface.region import Region
from .drape import Drape
from .fabric import Fabric
from .relief_line import on_rim
from .relief_proposal import Lie, Proposal, lies_of
from .relief_search import LEFT_LOCKED
from .relief_splice import TACK_CLEAR_MM, off_rim, propose_splice, splices_at

SAME_SHARE = 0.02  # of the width: threads nearer to each other are one splice
TACK_ON_MM = 0.01  # the part the tack point lies on is tacked there
# A splice must lower what locks by this much to be preferred to a shorter one.
WORTH_SHARE = 0.2

PartDraper = Callable[[SurfaceMesh, Floats, Floats], Drape]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Parted:
    """Splices along threads, and how the cloth lies in its parts round each of the middles."""

    cuts: tuple[Cut, ...]
    length_mm: float
    drapes: tuple[Drape, ...]
    lies: tuple[Lie, ...]


def part_at_zones(
    whole: Drape,
    fabric: Fabric,
    middles: Sequence[Floats],
    darts: Sequence[Cut],
    drape: PartDraper,
) -> Parted | None:
    """Return the splices along warp or weft threads through zones that let the cloth lie best.

    Tried are the warp and the weft threads through the zones' middles and a third nearer to the
    tack point; mirror images are met by one thread, or by two alike. Every try is draped. None
    where no thread crosses the piece so that it can be cut.

    Parameters
    ----------
    whole : of the piece without cuts
    middles : (3,) mm each, of the zones
    darts : cuts made as well
    drape : lays a cloth on a part, given its tack point and warp there
    """
    flat = whole.flat_at_points(np.array(middles))
    best: Parted | None = None
    for axis in (1, 0) if fabric.kind != "unidirectional" else (1,):
        for share in (1.0, 2 / 3):
            places = _places(whole, share * flat[:, axis], axis)
            cuts = tuple(
                one
                for number, place in enumerate(places, start=1)
                for one in splices_at(whole, place, f"splice-{number}", fabric, axis)
            )
            if not cuts:
                continue
            try:
                found = lay_parts(whole, fabric, middles, (*darts, *cuts), drape)
            except InputError:  # a thread that touches the rim on its way: the others remain
                continue
            tried = Parted(
                cuts=cuts, length_mm=sum(map(length_of, cuts)), drapes=found[0], lies=found[1]
            )
            if best is None or _better(tried, best):
                best = tried
    return best


def splice_proposals(
    parted: Parted, instead_of: Sequence[Proposal], surface: SurfaceMesh, set_number: int
) -> list[Proposal]:
    """Return the splices as proposals in place of darts, their points on the given surface."""
    before, after = _together([dart.before for dart in instead_of]), _together(parted.lies)
    faces = sorted({face for dart in instead_of for face in dart.faces})
    return [
        Proposal(
            cut=replace(one, path=on_surface(surface, one.path)),
            set_number=set_number,
            length_mm=length_of(one),
            faces=tuple(faces),
            before=before,
            after=after,
            accept_deg=max(dart.accept_deg or 0.0 for dart in instead_of),
            enough=after.locked_share <= LEFT_LOCKED,
        )
        for one in parted.cuts
    ]


def _together(lies: Sequence[Lie]) -> Lie:
    return Lie(
        locked_mm2=sum(lie.locked_mm2 for lie in lies),
        locked_share=sum(lie.locked_share for lie in lies),
        shear_deg=max(lie.shear_deg for lie in lies),
        stretch=max(lie.stretch for lie in lies),
    )


def on_surface(surface: SurfaceMesh, path: Floats) -> Floats:
    """Return a splice's points (k, 3) on a surface, its ends on the rim."""
    inside = locate(surface, path[1:-1]).points if len(path) > 2 else path[1:-1]
    return np.vstack([on_rim(surface, path[0]), inside, on_rim(surface, path[-1])])


def lay_parts(
    whole: Drape,
    fabric: Fabric,
    middles: Sequence[Floats],
    cuts: Sequence[Cut],
    drape: PartDraper,
) -> tuple[tuple[Drape, ...], tuple[Lie, ...]]:
    """Return the drape of each part the cuts leave, fibre direction kept, and how they lie."""
    base = whole.fine.surface
    region = Region("piece", np.arange(len(base.faces)))
    drapes = []
    for patch in cut(MouldMesh(base.vertices, base.faces), region, cuts):
        tack, warp = _tack_on(whole, patch.surface)
        drapes.append(drape(patch.surface, tack, warp))
    tips = np.array([one.path[-1] for one in cuts if one.kind == "dart"]).reshape(-1, 3)
    return tuple(drapes), tuple(lies_of(drapes, fabric, middles, tips))


def length_of(one: Cut) -> float:
    """Return a cut's length along its points, mm."""
    return float(np.linalg.norm(np.diff(one.path, axis=0), axis=1).sum())


def _tack_on(whole: Drape, part: SurfaceMesh) -> tuple[Floats, Floats]:
    """Return where a part is tacked and its warp there: as the whole where that point is on it.

    Elsewhere its middle; the warp is that of the whole cloth at this place.
    """
    if locate(part, whole.tack_mm[None]).distances[0] <= TACK_ON_MM:
        return whole.tack_mm, whole.warp
    middle = (part.corners.mean(axis=1) * part.areas[:, None]).sum(axis=0) / part.areas.sum()
    tack = locate(part, middle[None]).points[0]
    fine = whole.fine
    face = int(locate(fine.surface, tack[None]).faces[0])
    corners, flat = fine.surface.corners[face], fine.flat[fine.surface.faces[face]]
    weights = np.linalg.solve((flat[1:] - flat[0]).T, [1.0, 0.0])
    warp = weights @ (corners[1:] - corners[0])
    return tack, warp / np.linalg.norm(warp)


def _places(whole: Drape, wanted: Floats, axis: int) -> list[float]:
    """Return the places of threads, images alike, off the tack point and the rim's corners."""
    across = whole.fine.flat[:, axis]
    near = SAME_SHARE * float(np.ptp(across))
    wanted = np.where(np.abs(wanted) < TACK_CLEAR_MM, TACK_CLEAR_MM, wanted)
    groups: list[list[float]] = []
    for place in sorted(wanted.tolist()):
        if groups and place - groups[-1][-1] <= near:
            groups[-1].append(place)
        else:
            groups.append([place])
    places = np.array([np.mean(group) for group in groups])
    for k, place in enumerate(places):  # a mirror image: the same distance on the other side
        image = int(np.abs(places + place).argmin())
        if abs(places[image] + place) <= near:
            half = 0.5 * (place - places[image])
            places[k], places[image] = half, -half
    return [off_rim(whole, float(place), axis) for place in places]


def _better(one: Parted, other: Parted) -> bool:
    """Tell whether splices leave clearly less locked, or as much at less length."""
    mine, theirs = (sum(lie.locked_mm2 for lie in parted.lies) for parted in (one, other))
    rest = [all(drape.converged for drape in parted.drapes) for parted in (one, other)]
    if rest[0] != rest[1]:
        return rest[0]
    if abs(mine - theirs) > WORTH_SHARE * max(mine, theirs):
        return mine < theirs
    return one.length_mm < other.length_mm


def width_proposals(
    whole: Drape, fabric: Fabric, drape: PartDraper, *, usable_mm: float, trim_mm: float = 0.0
) -> list[Proposal]:
    """Return the splices that make a piece fit its roll as proposals; none where it fits.

    A splice that cannot be cut is left out, and `reason` says why; the others are not `enough`.
    Parameters as for `propose_splice`; each part is draped again with `drape`.

    Raises
    ------
    InputError : as `propose_splice`; not one of the splices can be cut
    """
    wide = propose_splice(whole, fabric, usable_mm=usable_mm, trim_mm=trim_mm)
    if wide is None:
        return []
    middles = [whole.tack_mm]
    (before,) = lies_of([whole], fabric, middles, np.zeros((0, 3)))
    cuts, left_out = _those_cut(whole, wide.cuts)
    drapes, (after,) = lay_parts(whole, fabric, middles, cuts, drape)
    return [
        Proposal(
            cut=replace(one, path=on_surface(whole.surface, one.path)),
            set_number=1,
            length_mm=length_of(one),
            faces=(),
            before=before,
            after=after,
            accept_deg=None,
            enough=not left_out and all(laid.converged for laid in drapes),
            reason=f"{wide.message} {left_out}".rstrip(),
        )
        for one in cuts
    ]


def _those_cut(whole: Drape, cuts: Sequence[Cut]) -> tuple[list[Cut], str]:
    """Return the cuts that can be made together, and what to say of those that cannot."""
    base = whole.fine.surface
    mould, region = (
        MouldMesh(base.vertices, base.faces),
        Region("piece", np.arange(len(base.faces))),
    )
    made: list[Cut] = []
    wrong: list[InputError] = []
    for one in cuts:
        try:
            cut(mould, region, [*made, one])
        except InputError as error:
            wrong.append(error)
        else:
            made.append(one)
    if wrong and not made:
        raise wrong[0]
    said = " ".join(error.message for error in wrong)
    return made, f"{said} Left out; part the cloth there by hand." if wrong else ""
