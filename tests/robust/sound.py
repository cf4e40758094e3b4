"""What must hold of every run, checked by other means than the engine's own end check."""

from __future__ import annotations

import csv
import io
import json
import re
import zlib
from xml.etree import ElementTree

import numpy as np
import shapely

from flatten.deliver import files_and_sheets
from flatten.errors import FlattenError
from flatten.laminate.stack import Stack
from flatten.lay import lay_ply
from flatten.progress import silent
from flatten.run import run
from flatten.summary import summary
from flatten.verify import verify

NOT_A_NUMBER = re.compile(rb"(?<![\w(])[-+]?(?:nan|inf)(?![\w)])", re.IGNORECASE)
# A cut line is written to 1e-4 mm; what is thinner than this is no piece of cloth.
ROUNDING_MM = 1e-3
ON_ROLL_MM = 0.011  # what the nest's own check allows


class Unsound(AssertionError):
    """The program said something that is not so."""


def outcome(make, *, deliver=True):
    """Make a job, run it and look at everything; return what came of it in one word.

    Raises
    ------
    Unsound : a result or an error that is not as promised; anything else is a bug as it stands
    """
    try:
        job = make()
    except FlattenError as error:
        _well_told(error, None)
        return "refused"
    try:
        result = run(job)
        if not deliver:
            _look_at(result, job)
            return "result"
        files, sheets = files_and_sheets(result, job)
        facts = summary(result, job)
    except FlattenError as error:
        _well_told(error, job)
        return "named"
    _look_at(result, job)
    look_at_files({**files, "result.json": json.dumps(facts).encode()})
    try:
        verify(result, files, sheets, job.settings.files)
    except FlattenError as error:
        raise Unsound(f"end check: {error}") from error
    return "stopped" if result.stopped else "result"


def laid(make):
    """Make a job and lay its first ply; look at the pieces as `outcome` does."""
    try:
        job = make()
    except FlattenError as error:
        _well_told(error, None)
        return "refused"
    first = Stack.of(job.plies, job.settings.laminate).laid[0]
    try:
        pieces = lay_ply(job, first, np.zeros(len(job.mould.faces)), silent)
    except FlattenError as error:
        _well_told(error, job)
        return "named"
    for piece in pieces.pieces:
        _look_at_piece(piece)
    return "result"


def _well_told(error, job):
    """An error has words, a way out, and names faces the mould has."""
    if not error.message or not error.hint:
        raise Unsound(f"an error without words or way out: {error!r}")
    if "report this" in str(error) or "failed its check" in str(error):
        raise Unsound(f"the program's own check failed: {error}")
    if job is not None and any(not 0 <= face < len(job.mould.faces) for face in error.faces):
        raise Unsound(f"an error names faces the mould does not have: {error} {error.faces[:5]}")


def _look_at_piece(piece):
    pattern = piece.pattern
    for what, shape in (("net", pattern.net), ("cut", pattern.cut)):
        if not np.isfinite(shapely.get_coordinates(shape)).all():
            raise Unsound(f"{what} of {pattern.id} is not finite")
        if not shape.area > 0:
            raise Unsound(f"{what} of {pattern.id} has an area of {shape.area}")
        rings = [shape.exterior, *shape.interiors]
        if not all(ring.is_simple for ring in rings) or not shape.is_valid:
            raise Unsound(f"{what} of {pattern.id} crosses itself")
    if not np.isfinite(piece.drape.flat).all() or not np.isfinite(piece.drape.strain).all():
        raise Unsound(f"drape of {pattern.id} is not finite")


def _look_at(result, job):
    for piece in result.pieces:
        _look_at_piece(piece)
    for finding in result.findings:
        if not finding.message or any(not 0 <= f < len(job.mould.faces) for f in finding.faces):
            raise Unsound(f"finding {finding.code} has no words, or faces the mould does not have")
    outlines = {pattern.id: pattern.cut for pattern in result.patterns}
    for nest in result.nests.values():
        for sheet in nest.sheets:
            _look_at_sheet(sheet, outlines)


def _look_at_sheet(sheet, outlines):
    cloth = shapely.Polygon(sheet.outline).buffer(ON_ROLL_MM)
    laid = [place.outline_on_cloth(outlines[place.piece]) for place in sheet.placements]
    for place, shape in zip(sheet.placements, laid, strict=True):
        if not cloth.covers(shape):
            raise Unsound(f"{place.piece} lies outside '{sheet.stock_id}'")
    tree = shapely.STRtree(laid)
    for one, other in tree.query(laid, "intersects").T:
        if one < other and laid[one].intersection(laid[other]).area > ROUNDING_MM * min(
            laid[one].length, laid[other].length
        ):
            raise Unsound(f"pieces overlap on '{sheet.stock_id}'")


def look_at_files(files):
    """Every file can be read by somebody else's reader and holds no NaN."""
    for name, content in files.items():
        if name.endswith(".npz"):
            with np.load(io.BytesIO(content), allow_pickle=False) as packed:
                for array in packed.files:
                    if not np.isfinite(packed[array]).all():
                        raise Unsound(f"{name}: {array} is not finite")
            continue
        text = content
        if name.endswith(".pdf"):
            text = b"\n".join(_streams(content))
        if NOT_A_NUMBER.search(text):
            raise Unsound(f"{name} holds {NOT_A_NUMBER.search(text)[0]!r}")
        if name.endswith(".svg"):
            ElementTree.fromstring(content.decode("utf-8"))
        if name.endswith(".json"):
            json.loads(content.decode("utf-8"), parse_constant=_no_constant)
        if name.endswith(".csv"):
            widths = {len(row) for row in csv.reader(io.StringIO(content.decode("utf-8-sig")))}
            if len(widths) != 1:
                raise Unsound(f"{name} has rows of {widths} columns")


def _no_constant(word):
    raise Unsound(f"JSON holds {word}")


def _streams(content):
    """Yield the page streams of a PDF, unpacked."""
    for match in re.finditer(rb"stream\r?\n(.*?)\r?\n?endstream", content, re.DOTALL):
        try:
            unpacked = zlib.decompress(match[1])
        except zlib.error:
            continue
        if b" re" in unpacked or b" l" in unpacked:
            yield unpacked
