"""One sheet of the paper templates: its part of the patterns, its marks, its footer."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Literal

import numpy as np
import shapely
from shapely import LineString, box

from ..arrays import Floats
from .canvas import ACCENT, INK, PALE, SOFT, WHITE, Canvas
from .drawing import Drawing, Line, Text
from .fonts import width_mm
from .paper import FOOTER_MM, PaperSettings
from .pattern_drawing import CHECK_MM, pattern_drawing
from .quiet import Box, Quiet, as_path, everything_drawn
from .template_check import Check
from .tiles import EDGE_MM, Group, Tile, TilePlan, whole_area

DIAMOND_MM = 4.0  # half the size of an alignment mark
NAME_MM = 16.0  # the sheet's name, pale under the drawing
CLIP_MM = 3.0  # lines are cut off this far outside the sheet
TRIM_WORDS = "trim along this edge"

Corner = tuple[float, float]


class SheetDrawing:
    """Draws the sheets of one group."""

    def __init__(self, plan: TilePlan, group: Group, paper: PaperSettings) -> None:
        self.plan, self.group, self.paper = plan, group, paper
        self.drawings = [
            _cut_last(pattern_drawing(p.pattern).moved(p.x_mm, p.y_mm, p.turn_deg))
            for p in group.placed
        ]
        self.step = (group.tile_mm[0] - plan.lap_mm, group.tile_mm[1] - plan.lap_mm)
        self.everything = everything_drawn(self.drawings)
        self._quiet_of: tuple[Tile, Quiet] | None = None
        self.top = float(whole_area(group).bounds[3]) + EDGE_MM

    def shown_mm(self, tile: Tile) -> tuple[float, float]:
        """Return width and height of what the sheet shows; a roll ends after the last line."""
        width, height = self.group.tile_mm
        if self.paper.roll_width_mm is not None:
            needed = max(self.top - tile.y_mm, CHECK_MM + 10.0)
            height = min(height, needed)
        return width, height

    def page_mm(self, tile: Tile) -> tuple[float, float]:
        """Return the paper size of this sheet, as the file counts it."""
        page = self.plan.page
        if self.paper.roll_width_mm is None:
            return page.width_mm, page.height_mm
        height = (self.shown_mm(tile)[1] + FOOTER_MM) / min(page.scale_y, 1.0)
        return page.width_mm, height + 2 * page.margin_mm

    def draw(self, canvas: Canvas, tile: Tile, *, number: int, maps: int) -> None:
        """Draw one sheet as a page of its own; `number` of all sheets, after `maps` map pages."""
        page = self.plan.page
        width, height = self.shown_mm(tile)
        across, along = 1 / page.scale_x, 1 / page.scale_y
        bottom = page.margin_mm + FOOTER_MM * along
        with canvas.page(*self.page_mm(tile)), canvas.placed(page.margin_mm, bottom, across, along):
            with canvas.clipped(0, 0, width, height):
                marks = [at - [tile.x_mm, tile.y_mm] for at in self._seam_points(tile)]
                check = Check(self._quiet(tile), marks)
                self._name(canvas, tile, check.taken)
                check.draw(canvas)
            canvas.box(0, 0, width, height, colour=PALE, line=0.1)
            with canvas.clipped(-0.3, -0.3, width + 0.6, height + 0.6):
                self._laps(canvas, tile, width, height)
                self._trim_lines(canvas, tile, width, height)
                self._marks(canvas, tile, width, height)
                with canvas.placed(-tile.x_mm, -tile.y_mm):  # over all aids: it is cut along
                    for drawing in self.drawings:
                        self._content(canvas, drawing, tile, width, height)
            self._footer(canvas, tile, width, number, check.rule)

    def _content(
        self, canvas: Canvas, drawing: Drawing, tile: Tile, width: float, height: float
    ) -> None:
        x, y = tile.x_mm, tile.y_mm
        view = box(x - CLIP_MM, y - CLIP_MM, x + width + CLIP_MM, y + height + CLIP_MM)
        for line in drawing.lines:
            layer = drawing.layer(line.layer)
            for points, closed in _clipped(line, view):
                canvas.line(points, layer.rgb, layer.width_mm, dash=layer.dash_mm, closed=closed)
        for text in drawing.texts:
            reach = width_mm(text.text, text.height_mm) + text.height_mm
            if view.buffer(reach).contains(shapely.Point(text.at)):
                _text(canvas, text, drawing.layer(text.layer).rgb)

    def _name(self, canvas: Canvas, tile: Tile, taken: Sequence[Box]) -> None:
        """Write the sheet's name large and pale, under everything else."""
        if len(self.group.tiles) < 2:
            return
        words = self.group.name_of(tile)
        wide = width_mm(words, NAME_MM, bold=True)
        x, y = self._quiet(tile).name(wide, NAME_MM, taken)
        canvas.text(x, y, words, NAME_MM, (0.9, 0.91, 0.92), bold=True)

    def _neighbour(self, tile: Tile, rows: int, columns: int) -> Tile | None:
        """Return the printed sheet so many rows up and columns to the right."""
        for other in self.group.tiles:
            if (other.row, other.column) == (tile.row - rows, tile.column + columns):
                return other
        return None

    def _laps(self, canvas: Canvas, tile: Tile, width: float, height: float) -> None:
        """Draw the strips that the neighbours on the right and on top are taped over."""
        lap, (step_x, step_y) = self.plan.lap_mm, self.step
        tint, size = (0.955, 0.965, 0.97), min(2.0, lap / 4)
        for rows, columns in ((0, 1), (1, 0)):
            other = self._neighbour(tile, rows, columns)
            if other is None:
                continue
            x, y = (step_x, 0.0) if columns else (0.0, step_y)
            strip = (lap, height) if columns else (width, lap)
            canvas.box(x, y, *strip, line=0, fill=tint)
            edge = [(x, y), (x, height)] if columns else [(x, y), (width, y)]
            canvas.line(edge, SOFT, 0.15, dash=(2, 1.2))
            words = f"tape sheet {self.group.name_of(other)} over this strip, up to the line"
            start, end = (x + lap / 2, 0.0), (x + lap / 2, height)
            if rows:
                start, end = (0.0, y + lap / 2), (width, y + lap / 2)
            self._edge_words(canvas, tile, words, start, end, size)

    def _trim_lines(self, canvas: Canvas, tile: Tile, width: float, height: float) -> None:
        """Draw the edges to be trimmed: the left and the lower one, where a sheet lies under."""
        if self._neighbour(tile, 0, -1) is not None:
            canvas.line([(0, 0), (0, height)], ACCENT, 0.2)
            self._edge_words(canvas, tile, TRIM_WORDS, (2.4, 0.0), (2.4, height), 1.8)
        if self._neighbour(tile, -1, 0) is not None:
            canvas.line([(0, 0), (width, 0)], ACCENT, 0.2)
            self._edge_words(canvas, tile, TRIM_WORDS, (0.0, 2.4), (width, 2.4), 1.8)

    def _edge_words(
        self, canvas: Canvas, tile: Tile, words: str, start: Corner, end: Corner, size: float
    ) -> None:
        """Write along an edge, at the place where least of the drawing and no mark is."""
        seams = [at - [tile.x_mm, tile.y_mm] for at in self._seam_points(tile)]
        edge = (np.array(start), np.array(end))
        x, y = self._quiet(tile).along_edge(edge, words, size, seams)
        turn = 90.0 if start[0] == end[0] else 0.0
        canvas.text(x, y, words, size, SOFT, anchor="centre", turn_deg=turn)

    def _quiet(self, tile: Tile) -> Quiet:
        """Return what is drawn on this sheet, in its own coordinates."""
        if self._quiet_of is None or self._quiet_of[0] != tile:
            width, height = self.shown_mm(tile)
            dots = self.everything - [tile.x_mm, tile.y_mm]
            shown = ((dots >= 0) & (dots <= [width, height])).all(axis=1)
            lap = self.plan.lap_mm
            self._quiet_of = (tile, Quiet(dots[shown], (width - lap, height - lap)))
        return self._quiet_of[1]

    def _marks(self, canvas: Canvas, tile: Tile, width: float, height: float) -> None:
        """Draw the diamonds that meet over the seams; both sheets draw the same ones."""
        with canvas.clipped(0, 0, width, height):
            for at in self._seam_points(tile):
                x, y = at[0] - tile.x_mm, at[1] - tile.y_mm
                d = DIAMOND_MM
                diamond = [(x - d, y), (x, y - d), (x + d, y), (x, y + d)]
                canvas.line(diamond, ACCENT, 0.2, closed=True, fill=WHITE)
                canvas.line([(x - d, y), (x + d, y)], ACCENT, 0.2)
                canvas.line([(x, y - d), (x, y + d)], ACCENT, 0.2)

    def _seam_points(self, tile: Tile) -> Iterator[Floats]:
        """Yield the middles of this sheet's alignment marks on the group's plane, two a seam."""
        step_x, step_y = self.step
        height = min(step_y, self.shown_mm(tile)[1])
        for columns, x in ((1, tile.x_mm + step_x), (-1, tile.x_mm)):
            if self._neighbour(tile, 0, columns) is not None:
                for share in (0.25, 0.75):
                    yield np.array([x, tile.y_mm + share * height])
        for rows, y in ((1, tile.y_mm + step_y), (-1, tile.y_mm)):
            if self._neighbour(tile, rows, 0) is not None:
                for share in (0.25, 0.75):
                    yield np.array([tile.x_mm + share * step_x, y])

    def _footer(self, canvas: Canvas, tile: Tile, width: float, number: int, measure: str) -> None:
        """Write under the drawing what this is, where it belongs and how to print it."""
        y = -FOOTER_MM
        map_width = self._small_map(canvas, tile, 0.0, y + 0.5, FOOTER_MM - 2.5)
        x = map_width + 4.0
        placed = self.group.placed
        title = f"{placed[0].pattern.part}: {', '.join(p.pattern.title for p in placed)}"
        right = f"sheet {number} of {self.plan.sheets}"
        wide = canvas.text(width, y + 7.2, right, 2.6, INK, bold=True, anchor="right")
        sheet = f"{self.group.name_of(tile)}  " if len(self.group.tiles) > 1 else ""
        canvas.text(x, y + 7.2, sheet + title, 2.6, INK, bold=True, most=width - wide - x - 5)
        rule = f"Print at 100 % (actual size). {measure}, else do not cut."
        canvas.text(x, y + 2.0, rule, 2.0, SOFT, most=width - x)

    def _small_map(self, canvas: Canvas, tile: Tile, x: float, y: float, height: float) -> float:
        """Draw the grid with this sheet filled; return its width."""
        rows, columns = self.group.rows, self.group.columns
        cell = min(height / rows, 26.0 / columns, 5.0)
        tall = cell * min(self.step[1] / self.step[0], 1.4)
        tall = min(tall, height / rows)
        for other in self.group.tiles:
            own = other == tile
            canvas.box(
                x + other.column * cell, y + (rows - 1 - other.row) * tall, cell, tall,
                colour=SOFT, line=0.12, fill=SOFT if own else WHITE,
            )  # fmt: skip
        return cell * columns


def _cut_last(drawing: Drawing) -> Drawing:
    """Return the drawing with its lines in the order of their pens: nothing lies over a cut."""
    pen = {layer.name: layer.pen for layer in drawing.layers}
    return replace(drawing, lines=tuple(sorted(drawing.lines, key=lambda line: pen[line.layer])))


def _clipped(line: Line, view: shapely.Polygon) -> Iterator[tuple[Floats, bool]]:
    """Yield the parts of a line inside the view, and whether each is still closed."""
    path = as_path(line)
    if view.contains(path):
        yield line.straightened(), line.closed
        return
    inside = path.intersection(view)
    for part in getattr(inside, "geoms", [inside]):
        if isinstance(part, LineString) and not part.is_empty:
            yield np.array(part.coords), False


def _text(canvas: Canvas, text: Text, rgb: tuple[float, float, float]) -> None:
    anchor: Literal["centre", "left"] = "centre" if text.anchor == "middle" else "left"
    x, y = float(text.at[0]), float(text.at[1])
    canvas.text(
        x, y, text.text, text.height_mm, rgb, anchor=anchor, turn_deg=text.turn_deg
    )  # fmt: skip
