"""Answer: the part of a result a modelling program draws, as plain values and arrays.

Written and read without pickles, so that it may pass between processes; reading it needs no
solver. Lengths mm, angles degrees.
"""

from __future__ import annotations

import io
import json
import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .errors import InputError
from .json_file import read_json
from .packed import read_arrays

FACTS_FILE, ARRAYS_FILE = "answer.json", "answer.npz"
MOST_FACTS_BYTES = 256 * 2**20  # findings of a large mould name a million faces


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Answer:
    """`facts` are JSON values; `arrays` by name, a piece's under "piece<number>_<name>".

    A piece's arrays, its drape on the mould and its lines in the flat, the pattern's own axes:
    `points` (n, 3) on the mould, `flat` (n, 2), `triangles` (m, 3), `source_faces` (m,) of the
    job's mould, `inside` (m,) in the net region and not in the trim, `shear_deg` (m,) signed,
    `strain_percent` (m,) the larger stretch along fibres, signed, `settled` (m,),
    `warp_spine` and `weft_spine` (k, 3) on the mould, `arrow` (2, 2) or (0, 2), `notches`
    (k, 2, 2) segments. Lengths in mm.
    """

    facts: dict[str, Any]
    arrays: dict[str, NDArray[Any]]

    def pieces(self) -> Iterator[tuple[dict[str, Any], dict[str, NDArray[Any]]]]:
        """Yield each piece's facts and arrays."""
        for number, facts in enumerate(self.facts["pieces"]):
            head = f"piece{number}_"
            yield (
                facts,
                {
                    name.removeprefix(head): array
                    for name, array in self.arrays.items()
                    if name.startswith(head)
                },
            )

    def maps(self) -> dict[str, NDArray[Any]]:
        """Return the mould's maps, (m,) a value for each triangle of the job's mould."""
        return {
            name.removeprefix("map_"): array
            for name, array in self.arrays.items()
            if name.startswith("map_")
        }


def save_answer(answer: Answer, folder: Path) -> None:
    """Write the two files, each whole or not at all, the facts last."""
    packed = io.BytesIO()
    np.savez(packed, **answer.arrays)
    text = json.dumps(answer.facts, ensure_ascii=False, allow_nan=False)
    for name, content in ((ARRAYS_FILE, packed.getvalue()), (FACTS_FILE, text.encode())):
        fresh = folder / f".{name}.new"
        fresh.write_bytes(content)
        os.replace(fresh, folder / name)


def load_answer(folder: Path) -> Answer:
    """Read an answer back.

    Raises
    ------
    InputError : it is not there or damaged
    """
    try:
        facts = read_json(folder / FACTS_FILE, MOST_FACTS_BYTES)
    except (OSError, ValueError) as error:
        raise InputError(
            f"The result in '{folder}' cannot be read: {error}.", "Run the job again."
        ) from error
    if not isinstance(facts, dict):
        raise InputError(f"The result in '{folder}' is damaged.", "Run the job again.")
    return Answer(facts=facts, arrays=read_arrays(folder / ARRAYS_FILE))
