"""What the page's viewer draws, from the arrays of a folder of results: pieces and mould."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from ..arrays import Ints
from ..errors import InputError

PIECE = ("vertices", "faces", "flat", "strain", "inside", "source_faces")
REGION = "region"  # the faces the ply covers; results of older versions lack it
STRETCH = "stretch"  # told instead of what `strain` says of it; results of older versions lack it


def pieces_of(
    facts: Mapping[str, Any], findings: Sequence[Mapping[str, Any]], arrays: Mapping[str, Any]
) -> list[dict[str, Any]]:
    """Return what the viewer draws of each piece; `lit` holds the drawn faces of each finding."""
    from ..cloth.library import load_fabrics
    from .thinned import thinned_piece

    plies = {ply["number"]: ply for ply in facts["plies"]}
    loose = {cloth.id for cloth in load_fabrics().values() if cloth.kind in ("mat", "film")}
    pieces = []
    for piece in facts["pieces"]:
        ply = plies[piece["ply_number"]]
        own = _arrays_of(arrays, piece["id"], PIECE)
        if f"{piece['id']}/{STRETCH}" in arrays:
            told = _arrays_of(arrays, piece["id"], (STRETCH,))[STRETCH]
            own["strain"] = np.column_stack([told, own["strain"][:, 2]])
        about = [n for n, one in enumerate(findings) if one["ply_id"] in ("", ply["ply_id"])]
        drawn = thinned_piece(own, [findings[n]["faces"] for n in about])
        lit = {n: faces for n, faces in zip(about, drawn["lit"], strict=True) if faces}
        names = {
            "name": f"{ply['number']} {ply['name']} ({piece['id']})", "tack": piece["tack_mm"],
            "threads": ply["fabric"] not in loose,
        }  # fmt: skip
        pieces.append({**drawn, **names, "lit": lit})
    return pieces


def mould_of(
    facts: Mapping[str, Any], findings: Sequence[Mapping[str, Any]], arrays: Mapping[str, Any]
) -> dict[str, Any]:
    """Return what the viewer draws of the mould."""
    from ..deliver import MOULD
    from .mould_view import thinned_mould

    mould = _arrays_of(arrays, MOULD, ("vertices", "faces"))
    under = []
    for piece in facts["pieces"]:
        own = _arrays_of(arrays, piece["id"], ("source_faces", "inside"))
        under.append(own["source_faces"][own["inside"]])
    plies = [piece["ply_id"] for piece in facts["pieces"]]
    lost = {ply: _lost(facts, arrays, under, ply) for ply in set(plies)}
    under = [np.append(own, lost[ply]) for own, ply in zip(under, plies, strict=True)]
    places = [one["faces"] for one in findings]
    return thinned_mould(mould["vertices"], mould["faces"], under, places)


def _lost(
    facts: Mapping[str, Any], arrays: Mapping[str, Any], under: Sequence[Ints], ply: str
) -> Ints:
    """Return the faces of a ply's region that no triangle of its pieces is said to lie on.

    Where needles were triangulated anew, each new triangle names one face of those it lies on.
    """
    mine = [n for n, piece in enumerate(facts["pieces"]) if piece["ply_id"] == ply]
    name = facts["pieces"][mine[0]]["id"]
    if f"{name}/{REGION}" not in arrays:
        return np.empty(0, np.int64)
    region = _arrays_of(arrays, name, (REGION,))[REGION]
    return np.setdiff1d(region, np.concatenate([under[n] for n in mine]))


def _arrays_of(arrays: Mapping[str, Any], name: str, wanted: Sequence[str]) -> dict[str, Any]:
    missing = [key for key in wanted if f"{name}/{key}" not in arrays]
    if missing:
        raise InputError(f"drape.npz lacks '{name}/{missing[0]}'.", "Run the job again.")
    found = {key: arrays[f"{name}/{key}"] for key in wanted}
    wild = [key for key, array in found.items() if not np.isfinite(array).all()]
    if wild:
        raise InputError(f"drape.npz: '{name}/{wild[0]}' is not finite.", "Run the job again.")
    return found
