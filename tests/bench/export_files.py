"""Seconds to write each file of a large kit, against the bare libraries doing the same strokes.

Run from the project's folder: python tests/bench/export_files.py. Prints JSON; gates nothing.
"""

from __future__ import annotations

import io
import json
import sys
import time
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parents[2]), str(Path(__file__).parents[1])]

import numpy as np  # noqa: E402
from export.bench_sheet import full_sheet  # noqa: E402
from export.kit import pattern, wavy  # noqa: E402

from flatten.export.dxf import dxf_bytes  # noqa: E402
from flatten.export.paper import PaperSettings  # noqa: E402
from flatten.export.pattern_drawing import patterns_drawing  # noqa: E402
from flatten.export.sheet import layup_pdf  # noqa: E402
from flatten.export.svg import svg_bytes  # noqa: E402
from flatten.export.templates import templates_pdf  # noqa: E402
from flatten.export.tiles import plan_tiles  # noqa: E402

PIECES = 60


def seconds(work, times: int = 3) -> float:
    """Return the shortest of a few runs."""
    best = np.inf
    for _ in range(times):
        start = time.perf_counter()
        work()
        best = min(best, time.perf_counter() - start)
    return float(best)


def bare_ezdxf(drawing) -> None:
    """Write the same lines and texts with ezdxf alone."""
    import ezdxf

    document = ezdxf.new("R2010")
    space = document.modelspace()
    for line in drawing.lines:
        space.add_lwpolyline(line.points.tolist(), close=line.closed)
    for text in drawing.texts:
        space.add_text(text.text, height=text.height_mm)
    document.write(io.StringIO())


def bare_reportlab(drawing, pages: int) -> None:
    """Write as many pages, each with a share of the lines, with reportlab alone."""
    from reportlab.pdfgen.canvas import Canvas

    canvas = Canvas(io.BytesIO(), pageCompression=1)
    for page in range(pages):
        for line in drawing.lines[page::pages]:
            path = canvas.beginPath()
            path.moveTo(*line.points[0])
            for point in line.points[1:]:
                path.lineTo(*point)
            canvas.drawPath(path)
        canvas.showPage()
    canvas.save()


def main() -> None:
    """Measure and print."""
    patterns = [
        pattern(wavy(120 + i, 80 + i, 3 + i % 4), id=f"p{i}", number=i + 1) for i in range(PIECES)
    ]
    paper = PaperSettings(most_sheets=1000)
    drawing = patterns_drawing(patterns)
    pages = plan_tiles(patterns, paper).sheets
    found = {
        "pieces": PIECES,
        "sheets": pages,
        "drawing": seconds(lambda: patterns_drawing(patterns)),
        "dxf": seconds(lambda: dxf_bytes(drawing)),
        "dxf_strokes_r12": seconds(lambda: dxf_bytes(drawing, "R12", text_as_strokes=True), 1),
        "svg": seconds(lambda: svg_bytes(drawing)),
        "templates": seconds(lambda: templates_pdf(patterns, paper), 1),
        "layup_sheet": seconds(lambda: layup_pdf(full_sheet(), paper)),
        "bare_ezdxf": seconds(lambda: bare_ezdxf(drawing)),
        "bare_reportlab": seconds(lambda: bare_reportlab(drawing, pages)),
    }
    found["dxf_ratio"] = found["dxf"] / found["bare_ezdxf"]
    found["templates_ratio"] = found["templates"] / found["bare_reportlab"]
    print(json.dumps({k: round(v, 3) for k, v in found.items()}, indent=1))


if __name__ == "__main__":
    main()
