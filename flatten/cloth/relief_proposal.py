"""A cut proposed and what it gains: how the cloth lies without it and with it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..arrays import Floats, Ints
from ..surface.cut import Cut
from .drape import Drape
from .fabric import Fabric
from .relief_search import LEFT_LOCKED, TIP_MM
from .relief_zones import over_limit_deg
from .strain import flat_areas
from .thread_stretch import along_fibres


@dataclass(frozen=True, slots=True, kw_only=True)
class Lie:
    """How a cloth lies: locked flat area and its share, largest shear and fibre stretch.

    Largest means: exceeded on no more than the share of the flat area that may stay locked.
    The ends of darts, `TIP_MM` round, are not counted.
    """

    locked_mm2: float
    locked_share: float
    shear_deg: float
    stretch: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Proposal:
    """A cut that would let the cloth lie down or fit its roll, and what it gains.

    The person decides: `cut` is to be accepted, moved or refused; those to be taken together
    (mirror images, the splices of one piece) share `set_number`. `faces` of the surface that lock
    without it; `before` and `after` the lie of the cloth there, with all proposals taken.
    `accept_deg`: allow the cloth this much shear there, and no cut is needed; None where shear is
    not the reason (a piece too wide). `enough`: with it the cloth lies down, or fits. `reason`:
    why it is proposed, where that is not the locking.
    """

    cut: Cut
    set_number: int
    length_mm: float
    faces: tuple[int, ...]
    before: Lie
    after: Lie
    accept_deg: float | None
    enough: bool
    reason: str = ""

    @property
    def message(self) -> str:
        """What it gains, in one sentence for the panel."""
        gain = (
            f"{self.cut.kind} of {self.length_mm:.0f} mm: locked cloth "
            f"{self.before.locked_mm2 / 100:.1f} -> {self.after.locked_mm2 / 100:.1f} cm², "
            f"fibre stretch {100 * self.before.stretch:.1f} % -> {100 * self.after.stretch:.1f} %"
        )
        if self.accept_deg is None:
            return f"{self.reason} {gain[0].upper()}{gain[1:]}.".lstrip()
        part = " here" if self.cut.kind == "dart" else " once more"
        rest = "" if self.enough else f"; it will still not lie down: part the cloth{part}"
        return f"{gain}{rest}; or accept up to {self.accept_deg:.0f}° of shear here"


def lies_of(
    drapes: Sequence[Drape], fabric: Fabric, middles: Sequence[Floats], tips: Floats
) -> list[Lie]:
    """Return how the cloth lies round each of the middles (3,): a face counts for the nearest one.

    `drapes` of the piece, or of the parts it was cut into; `tips` (k, 3) mm, the ends of darts.
    """
    centres = np.concatenate([drape.fine.surface.corners.mean(axis=1) for drape in drapes])
    strain = np.concatenate([drape.fine.strain for drape in drapes])
    area = np.concatenate(
        [np.abs(flat_areas(drape.fine.flat, drape.fine.surface.faces)) for drape in drapes]
    )
    over, shear = over_limit_deg(strain, fabric), np.abs(np.degrees(strain[:, 2]))
    stretch = along_fibres(np.concatenate([drape.fine.stretch for drape in drapes]), fabric)
    clear = np.ones(len(area), bool)
    for tip in tips:
        clear &= np.linalg.norm(centres - tip, axis=1) > TIP_MM
    owner, total = nearest_of(centres, middles), float(area.sum())
    small = LEFT_LOCKED * total / len(middles)
    lies = []
    for k in range(len(middles)):
        mine = clear & (owner == k)
        locked = float(area[mine & (over > 0)].sum())
        lies.append(
            Lie(
                locked_mm2=locked,
                locked_share=locked / total,
                shear_deg=_quantile(shear[mine], area[mine], small),
                stretch=_quantile(stretch[mine], area[mine], small),
            )
        )
    return lies


def nearest_of(points: Floats, middles: Sequence[Floats]) -> Ints:
    """Return (k,) the number of the middle nearest to each of the points (k, 3)."""
    away = np.stack([np.linalg.norm(points - middle, axis=1) for middle in middles])
    return np.asarray(away.argmin(axis=0))


def _quantile(values: Floats, area: Floats, above_mm2: float) -> float:
    """Return the value that no more than this area exceeds."""
    if not len(values):
        return 0.0
    order = np.argsort(-values, kind="stable")
    count = int(np.searchsorted(np.cumsum(area[order]), above_mm2))
    return float(values[order[min(count, len(order) - 1)]])
