"""How the laminate is made, and the fibre volume fraction each way of making it reaches."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from ..errors import InputError

ProcessId = Literal["hand", "bagged", "infusion", "mat"]
PROCESS_IDS: tuple[ProcessId, ...] = ("hand", "bagged", "infusion", "mat")


@dataclass(frozen=True, slots=True, kw_only=True)
class Process:
    """A way of making the laminate. Fractions are shares of the volume.

    `fibre` is the default for woven, stitched and unidirectional cloth, `usual` its usual range;
    `mat_fibre` the default for a chopped mat, which packs less. `bagged`: a vacuum bag goes over
    it; `flow_mesh`: resin is drawn in through a mesh. `source` is where the values come from.
    """

    id: ProcessId
    name: str
    fibre: float
    usual: tuple[float, float]
    mat_fibre: float
    bagged: bool
    flow_mesh: bool
    source: str


PRACTICE = "common practice, no source"

PROCESSES: tuple[Process, ...] = (
    Process(
        id="hand",
        name="Open hand lay-up",
        fibre=0.35,
        usual=(0.30, 0.40),
        mat_fibre=0.16,
        bagged=False,
        flow_mesh=False,
        source=f"{PRACTICE}; three plies of 210 g/m2 carbon twill come out about 1 mm thick",
    ),
    Process(
        id="bagged",
        name="Hand lay-up under a vacuum bag",
        fibre=0.45,
        usual=(0.40, 0.50),
        mat_fibre=0.22,
        bagged=True,
        flow_mesh=False,
        source=PRACTICE,
    ),
    Process(
        id="infusion",
        name="Resin infusion",
        fibre=0.55,
        usual=(0.50, 0.60),
        mat_fibre=0.25,
        bagged=True,
        flow_mesh=True,
        source=PRACTICE,
    ),
    Process(
        id="mat",
        name="Glass mat and woven roving by hand",
        fibre=0.27,
        usual=(0.20, 0.35),
        mat_fibre=0.16,
        bagged=False,
        flow_mesh=False,
        source=(
            "Practical Action, technical brief on fibreglass boats: fibre is about 30 % of the "
            "weight in mat and 45 % in woven roving; here for glass and resin of 2.55 and "
            "1.15 g/cm3"
        ),
    ),
)


def process_of(process_id: str) -> Process:
    """Return the process of this id.

    Raises
    ------
    InputError : no process has this id
    """
    for process in PROCESSES:
        if process.id == process_id:
            return process
    raise InputError(
        f"Laminate: process is {process_id!r:.60}.", f"Use one of {', '.join(PROCESS_IDS)}."
    )
