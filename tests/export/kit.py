"""Patterns with known outlines, and two readers of DXF: GDAL, and our own of group codes."""

from __future__ import annotations

import io
import tempfile
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pyogrio
import shapely
from shapely import Point, Polygon
from shapely.geometry.polygon import orient

from flatten.pattern.pattern import Mark, Notch, Pattern, ShearMap

PART = "Kayak hatch cover"


def wavy(a: float, b: float, waves: int = 3, points: int = 180) -> Polygon:
    """An oval with waves: no straight edge, no circle in it."""
    t = np.linspace(0, 2 * np.pi, points, endpoint=False)
    r = 1 + 0.07 * np.cos(waves * t) + 0.03 * np.sin((waves + 2) * t)
    return Polygon(np.column_stack([a * r * np.cos(t), b * r * np.sin(t)]))


def pattern(
    net: Polygon,
    *,
    id: str = "ply1",
    number: int = 1,
    name: str = "outer skin",
    trim: float = 15.0,
    part: str = PART,
    **other,
) -> Pattern:
    """A pattern with label, side mark, arrow, tack point and three notches."""
    net = orient(net)
    cut = orient(net.buffer(trim, quad_segs=16)) if trim else net
    size = min(1.0, (net.bounds[3] - net.bounds[1]) / 200)
    middle = np.array([net.centroid.x, net.centroid.y])
    ring = np.array(cut.exterior.coords)[:-1]
    notches = []
    for number_of, i in enumerate(len(ring) * np.array([1, 4, 7]) // 9, start=1):
        along = ring[(i + 1) % len(ring)] - ring[i - 1]
        along /= np.linalg.norm(along)
        outward = np.array([along[1], -along[0]])
        notches.append(Notch(at=ring[i], outward=outward, number=number_of, joint=0))
    label = (part, f"{number} {name}", "carbon twill 210, 0°", "cut 1")
    given = {
        "id": id, "part": part, "ply_id": id, "ply_number": number, "ply_name": name,
        "fabric": "twill", "fabric_name": "carbon twill 210", "angle_deg": 0.0,
        "net": net, "cut": cut, "notches": tuple(notches),
        "marks": (
            Mark(kind="label", lines=label, at=middle + [0, 45 * size], height_mm=8 * size),
            Mark(kind="side_up", lines=("this side up", "tool side down"),
                 at=middle - [0, 50 * size], height_mm=6 * size),
        ),
        "arrow": middle + np.array([[-60.0, -22.0], [60.0, -22.0]]) * size,
        "tack": middle, "mould_area_mm2": net.area,
    }  # fmt: skip
    return Pattern(**(given | other))


def kit_of_patterns(part: str = PART) -> list[Pattern]:
    """Three plies and a patch, the first with a hole, one with its shear."""
    outer = wavy(190, 130).difference(Point(60, -40).buffer(30))
    return [
        pattern(outer, id="ply1", number=1, name="outer skin", part=part, shear=shear_of(outer)),
        pattern(wavy(185, 125, 4), id="ply2", number=2, name="middle skin", part=part),
        pattern(wavy(180, 120, 5), id="ply3", number=3, name="inner skin", part=part),
        pattern(wavy(70, 45), id="patch", number=4, name="hinge patch", part=part, notches=()),
    ]


def shear_of(net: Polygon, cell: float = 12.0) -> ShearMap:
    """A shear map of triangles of a grid: closing and opening in the four quarters."""
    left, bottom, right, top = net.bounds
    corners = []
    for x in np.arange(left, right, cell):
        for y in np.arange(bottom, top, cell):
            a, b, c, d = (x, y), (x + cell, y), (x + cell, y + cell), (x, y + cell)
            corners += [(a, b, c), (a, c, d)]
    triangles = np.array(corners)
    middle = triangles.mean(axis=1)
    triangles = triangles[shapely.contains_xy(net, middle)]
    x, y = triangles.mean(axis=1).T
    shear = 48 * np.sin(np.pi * x / (right - left)) * np.sin(np.pi * y / (top - bottom))
    return ShearMap(triangles=triangles, shear_deg=shear, locked=np.abs(shear) > 44)


@dataclass
class ReadLine:
    """A polyline as our own reader finds it."""

    layer: str
    closed: bool
    points: list[tuple[float, float]] = field(default_factory=list)
    bulge: list[float] = field(default_factory=list)

    @property
    def area(self) -> float:
        """Shoelace plus the segments between arcs and chords: closed form."""
        p = np.array(self.points)
        q = np.roll(p, -1, axis=0)
        angle = 4 * np.arctan(np.array(self.bulge))
        chord = np.linalg.norm(q - p, axis=1)
        sine = np.where(angle == 0, 1, np.sin(angle / 2))
        radius = np.where(angle == 0, 0, chord / (2 * sine))
        segments = 0.5 * radius**2 * (angle - np.sin(angle))
        return abs(0.5 * np.sum(p[:, 0] * q[:, 1] - q[:, 0] * p[:, 1]) + np.sum(segments))


@dataclass
class ReadDxf:
    """What our own reader finds in a DXF: header, lines, texts, kinds of entities."""

    header: dict[str, str]
    lines: list[ReadLine]
    texts: list[tuple[str, str]]  # layer, text
    kinds: list[str]

    def areas(self, layer: str) -> list[float]:
        """Areas of the closed lines of a layer, sorted."""
        return sorted(line.area for line in self.lines if line.layer == layer and line.closed)


def read_dxf(data: bytes) -> ReadDxf:
    """Read pairs of group code and value, by the DXF reference, and nothing else."""
    text = data.decode("utf-8" if b"AC1024" in data[:400] else "cp1252")
    rows = text.split("\n")
    pairs = [(int(rows[i]), rows[i + 1].strip("\r")) for i in range(0, len(rows) - 1, 2)]
    found = ReadDxf({}, [], [], [])
    section, name, entity = "", "", ""
    current: ReadLine | None = None
    layer = ""
    for (code, value), before in zip(pairs, [(0, ""), *pairs[:-1]], strict=True):
        if code == 2 and before == (0, "SECTION"):
            section = value
        elif section == "HEADER":
            if code == 9:
                name = value
            else:
                found.header[name] = value
        elif section == "ENTITIES":
            if code == 0:
                entity = value
                if value not in ("VERTEX", "SEQEND", "ENDSEC", "SECTION"):
                    found.kinds.append(value)
                if value in ("LWPOLYLINE", "POLYLINE"):
                    current = ReadLine("", False)
                    found.lines.append(current)
            elif code == 8:
                layer = value
                if current is not None and entity in ("LWPOLYLINE", "POLYLINE"):
                    current.layer = value
            elif entity in ("LWPOLYLINE", "POLYLINE", "VERTEX") and current is not None:
                _take(current, entity, code, value)
            elif entity == "TEXT" and code == 1:
                found.texts.append((layer, value))
    return found


def _take(line: ReadLine, entity: str, code: int, value: str) -> None:
    if code == 70 and entity != "VERTEX":
        line.closed = bool(int(value) & 1)
    elif entity == "POLYLINE":
        return
    elif code == 10:
        line.points.append((float(value), 0.0))
        line.bulge.append(0.0)
    elif code == 20:
        line.points[-1] = (line.points[-1][0], float(value))
    elif code == 42:
        line.bulge[-1] = float(value)


def gdal(data: bytes) -> tuple[dict[str, list[float]], list[tuple[str, str]]]:
    """Read a DXF with GDAL: areas of closed lines by layer, sorted, and (layer, text)."""
    # GDAL takes files for Windows-1252 unless told; from R2007 on DXF is UTF-8
    encoding = "UTF-8" if b"AC1024" in data[:400] else None
    pyogrio.set_gdal_config_options({"OGR_ARC_STEPSIZE": 0.05, "DXF_ENCODING": encoding})
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "drawing.dxf"
        file.write_bytes(data)
        meta, _, shapes, columns = pyogrio.raw.read(
            file, encoding="UTF-8", CLOSED_LINE_AS_POLYGON="YES"
        )
    fields = dict(zip(meta["fields"], columns, strict=True))
    shapes = shapely.from_wkb(shapes)
    areas: dict[str, list[float]] = {}
    texts = []
    for shape, layer, text in zip(shapes, fields["Layer"], fields["Text"], strict=True):
        if shape.geom_type == "Polygon":
            areas.setdefault(layer, []).append(shape.area)
        if text:
            texts.append((layer, text))
    return {layer: sorted(values) for layer, values in areas.items()}, texts


def pdf_pages(data: bytes, dpi: float) -> list[np.ndarray]:
    """Return the pages of a PDF as (h, w, 3) arrays."""
    import pypdfium2

    document = pypdfium2.PdfDocument(io.BytesIO(data))
    return [np.asarray(page.render(scale=dpi / 72).to_pil().convert("RGB")) for page in document]
