"""An answer of the engine becomes objects: patterns beside the mould, findings, numbers."""

from __future__ import annotations

import hashlib
import json
from typing import TYPE_CHECKING, Any

from . import bridge, mesh_data
from .patterns import make_pattern, place_beside
from .translation import new_name

if TYPE_CHECKING:
    from collections.abc import Iterator

    import bpy

    from .ready import Ready

NO_NEST = ("stock_short", "piece_too_large")  # findings: a cloth could not be laid on its stock


def ready_steps(ready: Ready, mould: bpy.types.Object, scene: bpy.types.Scene) -> Iterator[None]:
    """Replace the patterns of the plies that were run, and what is known of the whole part.

    Between the steps a window may go on. Nothing can be seen of it before the last step.
    """
    answer, made = ready.answer, list[tuple[str, str]]()
    try:
        for facts, arrays in answer.pieces():
            thing = make_pattern(facts, arrays, mould, scene)
            made.append((thing.name, facts["title"]))
            _link_with_ply(thing, facts, arrays, ready)
            yield
        _swap(ready, made, mould, scene)
        made.clear()
    finally:
        for name, _ in made:  # broken off
            left = bpy_object(name)
            if left is not None and left.users == 0:
                _remove(left)


def _link_with_ply(thing: Any, facts: Any, arrays: Any, ready: Ready) -> None:
    """Let a pattern know the inputs it was made from, and the mould's polygon under each face."""
    ran = {**ready.answer.facts["plies"], **ready.answer.facts["extras"]}
    thing.mouldply.piece.stamp = ran[facts["ply_id"]]
    source = arrays["source_faces"]
    below = ready.polygons[source] if ready.polygons is not None else source * 0 - 1
    mesh_data.write_attribute(thing.data, "polygon", "INT", "FACE", below)


def _swap(ready: Ready, made: list[tuple[str, str]], mould: Any, scene: Any) -> None:
    """Take the old patterns out and put the new ones, name and title, in their place."""
    answer, home = ready.answer, patterns_of(mould, scene)
    ran = {**answer.facts["plies"], **answer.facts["extras"]}
    for old in [thing for thing in home.objects if _belongs(thing, mould, ran)]:
        _remove(old)
    for name, title in made:
        thing = bpy_object(name)
        for one in (thing, *thing.children):
            home.objects.link(one)
        _rename(thing, title)
    place_beside(home, mould, scene)
    _write_findings(home.mouldply, answer)
    if answer.facts["complete"]:
        if mould.data.is_editable:
            _write_maps(ready, mould)
        results = home.mouldply
        results.job_digest = answer.facts["job_digest"]
        results.quantities = json.dumps(answer.facts["quantities"])
        _keep_nests(results, answer)


def bpy_object(name: str) -> bpy.types.Object | None:
    """Return the object of this name in the file itself, not in a linked one."""
    import bpy

    return bpy.data.objects.get((name, None))


def _rename(thing: Any, title: str) -> None:
    """Give a pattern and what hangs on it the names that the old ones have given up."""
    thing.name, thing.data.name = title, f"{title} cloth"
    for child in thing.children:
        child.name = child.data.name = f"{title} {'lines' if child.type == 'MESH' else 'label'}"


def patterns_of(mould: bpy.types.Object, scene: bpy.types.Scene) -> bpy.types.Collection:
    """Return the collection of a mould's patterns, made on first need."""
    import bpy

    found = find_patterns(mould)
    if found is None:
        found = bpy.data.collections.new(new_name("Patterns of {}", mould.name))
        found.mouldply.owner = mould
    if found.name not in scene.collection.children:
        scene.collection.children.link(found)
    return found


def find_patterns(mould: bpy.types.Object) -> bpy.types.Collection | None:
    """Return the collection of a mould's patterns if there is one."""
    import bpy

    return next((c for c in bpy.data.collections if c.mouldply.owner == mould), None)


def remove_patterns(mould: bpy.types.Object, ply_id: str) -> None:
    """Remove the patterns of one ply or extra."""
    home = find_patterns(mould)
    mine = [
        thing
        for thing in (home.objects if home is not None else ())
        if thing.mouldply.piece.is_pattern and thing.mouldply.ply_id == ply_id
    ]
    for old in mine:
        _remove(old)


def ranges_of(numbers: Any) -> str:
    """Return whole numbers as "3-17,40"."""
    import numpy as np

    values = np.unique(np.asarray(numbers, np.int64))
    runs = np.split(values, np.flatnonzero(np.diff(values) > 1) + 1) if len(values) else []
    return ",".join(str(r[0]) if len(r) == 1 else f"{r[0]}-{r[-1]}" for r in runs)


def numbers_of(ranges: str) -> list[int]:
    """Return the whole numbers written by `ranges_of`."""
    numbers: list[int] = []
    for part in filter(None, ranges.split(",")):
        first, _, last = part.partition("-")
        numbers += range(int(first), int(last or first) + 1)
    return numbers


def _write_maps(ready: Ready, mould: bpy.types.Object) -> None:
    """Store the maps as face attributes of the mould's own polygons, if they still fit."""
    with mesh_data.object_mode(mould):
        for name, values in ready.maps.items():
            if len(values) == len(mould.data.polygons):
                full = f"{bridge.MAP_PREFIX}{name}"
                mesh_data.write_attribute(mould.data, full, "FLOAT", "FACE", values)


def _keep_nests(results: Any, answer: Any) -> None:
    """Replace the nests after a run that nested; a cloth that found no place has none then.

    Every cloth of such a run has a nest or a stop that says why not; one for patterns only has
    neither, and leaves the nests as they are.
    """
    refused = any(finding["code"] in NO_NEST for finding in answer.facts["findings"])
    if answer.facts["nests"] or refused:
        results.nests = json.dumps(answer.facts["nests"]) if answer.facts["nests"] else ""


def layout_stamp(results: Any) -> str:
    """Return a short digest of the job and the layouts: files written of both carry it."""
    whole = f"{results.job_digest}\n{results.nests}"
    return hashlib.sha256(whole.encode("utf-8")).hexdigest()[:16]


def _write_findings(results: Any, answer: Any) -> None:
    """Replace the findings about the plies that were run; all of them after a whole run."""
    ran, results.lit = answer.facts["plies"], -1
    for number in reversed(range(len(results.findings))):
        if answer.facts["complete"] or results.findings[number].ply_id in ran:
            results.findings.remove(number)
    for given in answer.facts["findings"]:
        if not answer.facts["complete"] and given["ply_id"] not in ran:
            continue
        finding = results.findings.add()
        finding.name = finding.code = given["code"]
        for field in ("severity", "message", "hint", "ply_id"):
            setattr(finding, field, given[field])
        finding.faces = ranges_of(given["faces"])
    results.active_finding = min(results.active_finding, max(0, len(results.findings) - 1))


def _belongs(thing: bpy.types.Object, mould: bpy.types.Object, ran: Any) -> bool:
    """Whether a pattern is of a ply or an extra that was run, or of one that is gone."""
    own = thing.mouldply
    known = {one.id for one in (*mould.mouldply.plies, *mould.mouldply.extras)}
    return own.piece.is_pattern and (own.ply_id in ran or own.ply_id not in known)


def _remove(thing: bpy.types.Object) -> None:
    """Remove an object, what hangs on it, and their data."""
    import bpy

    for child in thing.children:
        _remove(child)
    data, kind = thing.data, thing.type
    bpy.data.objects.remove(thing)
    if data is not None and data.users == 0:
        (bpy.data.meshes if kind == "MESH" else bpy.data.curves).remove(data)
