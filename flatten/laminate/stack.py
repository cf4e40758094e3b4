"""Stack: the plies in laying order, repeats and the symmetric half included."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from ..arrays import Floats
from ..cloth.fabric import Fabric
from ..errors import InputError
from .bounds import check_choice, check_whole
from .extra import CoreLayer
from .ply import Ply
from .settings import STACK_ORDERS, LaminateSettings, StackOrder
from .thickness import Course, cured_thickness_mm, thickening

MOST_LAID = 1000  # a laminate of a thousand plies is a slip of the finger


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Laid:
    """One ply in its place: `number` in laying order (1: first on the tool), the `copy`-th of
    the `copies` that are laid from this design.
    """

    number: int
    ply: Ply
    copy: int
    copies: int


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stack:
    """Plies as designed, tool side first, and how they are laid.

    `order` symmetric: the list, then the list backwards; symmetric_middle_once: the same, but
    the last of the list is laid once. `times`: the list is laid so often before it is mirrored,
    as the laminate code's subscript counts. A ply's own `repeat` comes first of all. `cores` lie
    on the last copy of their ply in the list as laid before it is mirrored.
    """

    plies: tuple[Ply, ...]
    order: StackOrder = "as_listed"
    times: int = 1
    cores: tuple[CoreLayer, ...] = ()

    def __post_init__(self) -> None:
        """Refuse a stack without plies, or of a thousand."""
        check_choice("Stack", "order", self.order, STACK_ORDERS)
        if not self.plies:
            raise InputError("The stack has no plies.", "Add a ply.")
        check_whole("Stack", "times", self.times, high=MOST_LAID)
        count = self.times * sum(ply.repeat for ply in self.plies)
        if count > MOST_LAID:
            raise InputError(f"The stack has {count} plies.", f"Lay no more than {MOST_LAID}.")

    @classmethod
    def of(
        cls,
        plies: tuple[Ply, ...],
        settings: LaminateSettings,
        cores: tuple[CoreLayer, ...] = (),
    ) -> Stack:
        """Return the stack of a job's plies, laid as its settings say."""
        return cls(plies=plies, order=settings.stack_order, times=settings.stack_times, cores=cores)

    def core_after(self, ply_id: str) -> int:
        """Return the number of the laid ply a core on this ply lies on."""
        half = self.times * sum(ply.repeat for ply in self.plies)
        return max(laid.number for laid in self.laid[:half] if laid.ply.id == ply_id)

    def cores_under(self, number: int, face_count: int) -> Floats:
        """Return (face_count,) mm of core below the laid ply of this number."""
        total = np.zeros(face_count)
        for core in self.cores:
            if self.core_after(core.ply) < number:
                core.add_to(total)
        return total

    @property
    def laid(self) -> tuple[Laid, ...]:
        """Every ply in laying order, numbered from 1."""
        half = [ply for ply in self.plies for _ in range(ply.repeat)] * self.times
        back = half[::-1]
        if self.order == "as_listed":
            back = []
        elif self.order == "symmetric_middle_once":
            back = back[1:]
        everything = half + back
        copies = {ply.id: sum(other is ply for other in everything) for ply in self.plies}
        seen = dict.fromkeys(copies, 0)
        laid = []
        for number, ply in enumerate(everything, start=1):
            seen[ply.id] += 1
            laid.append(Laid(number=number, ply=ply, copy=seen[ply.id], copies=copies[ply.id]))
        return tuple(laid)

    def courses(
        self,
        fabrics: Mapping[str, Fabric],
        settings: LaminateSettings,
        shear_rad: Mapping[str, Floats] | None = None,
    ) -> tuple[Course, ...]:
        """Return every ply with its faces and cured thickness, for maps and drop-offs.

        `fabrics` by id; `shear_rad` by ply id, (k,) on the ply's faces in their order.

        Raises
        ------
        InputError : a ply's cloth is not among the fabrics, or shear that does not fit its faces
        """
        shear = shear_rad or {}
        return tuple(
            Course(
                number=laid.number,
                ply_id=laid.ply.id,
                faces=laid.ply.faces,
                thickness_mm=cured_thickness_mm(fabric_of(laid.ply, fabrics), settings),
                shear_rad=shear.get(laid.ply.id),
            )
            for laid in self.laid
        )

    def with_thickness_below(
        self,
        fabrics: Mapping[str, Fabric],
        settings: LaminateSettings,
        face_count: int,
        shear_rad: Mapping[str, Floats] | None = None,
    ) -> Iterator[tuple[Laid, Floats]]:
        """Yield every ply with the thickness (face_count,) mm below it on each face, cores too.

        `shear_rad` is read after the ply it belongs to has been handed out, so a caller may fill
        it as the drapes come: the next ply then lies on the sheared thickness.
        """
        below = np.zeros(face_count)
        for laid in self.laid:
            before = below + self.cores_under(laid.number, face_count)
            before.flags.writeable = False
            yield laid, before
            faces = laid.ply.faces
            if faces[0] < 0 or faces[-1] >= face_count:
                raise InputError(
                    f"Ply '{laid.ply.name}' covers face {faces[-1]}, but the mould has "
                    f"{face_count} faces.",
                    "Assign the ply's faces again.",
                )
            thickness = cured_thickness_mm(fabric_of(laid.ply, fabrics), settings)
            shear = (shear_rad or {}).get(laid.ply.id)
            below[faces] += thickness * (1.0 if shear is None else thickening(shear))


def fabric_of(ply: Ply, fabrics: Mapping[str, Fabric]) -> Fabric:
    """Return the ply's cloth.

    Raises
    ------
    InputError : it is not among the fabrics
    """
    if ply.fabric not in fabrics:
        raise InputError(
            f"Ply '{ply.name}' asks for cloth '{ply.fabric}', which is not there.",
            f"Use one of {', '.join(sorted(fabrics))[:200] or 'the cloths you add'}.",
        )
    return fabrics[ply.fabric]
