"""Names from people end up in DXF, SVG, PDF, CSV and JSON as words, never as anything else."""

import csv
import io
import json
from dataclasses import replace
from xml.etree import ElementTree

import ezdxf
import pypdf
from robust.sound import look_at_files
from sample_jobs import TWILL, dish, dish_job

from flatten.deliver import files_of, summary
from flatten.laminate.ply import Ply
from flatten.run import run
from flatten.verify import verify

NAMES = [
    "=cmd|' /C calc'!A0",
    "</title><script>alert(1)</script>]]>",
    "0\nSECTION\n0\nEOF\r\n",
    "%%c^M{\\fArial;x}\\P\\U+0041",
    ") Tj ET (\\",
    "a\ufffe\uffff\x85\u2028\u202e]]>\u200b=1+1",
]


def test_a_hostile_name_stays_a_name():
    """The part, the cloth and a ply each; every file is read by somebody else's reader."""
    mould, inside, _ = dish(cells=4)
    plies = tuple(
        Ply(id=f"p{n}", name=name, faces=inside, fabric=TWILL) for n, name in enumerate(NAMES[:2])
    )
    job = dish_job(mould=mould, plies=plies, part=NAMES[2])
    cloth = replace(job.fabrics[0], name=NAMES[3])
    more = [replace(plies[0], id=f"q{n}", name=name) for n, name in enumerate(NAMES[4:])]
    job = replace(job, fabrics=(cloth,), plies=(*plies, *more))

    result = run(job)
    files = files_of(result, job)

    verify(result, files)
    look_at_files({**files, "result.json": json.dumps(summary(result, job)).encode()})
    for name in ("cut_list.csv", "stack.csv"):
        for row in csv.reader(io.StringIO(files[name].decode("utf-8-sig"))):
            assert not any(cell[:1] in ("=", "+", "@", "\t", "\r") for cell in row if cell), row
    for name in ("patterns.svg", "roll.svg"):
        tags = {element.tag.split("}")[1] for element in ElementTree.fromstring(files[name]).iter()}
        assert tags <= {"svg", "g", "title", "path", "text", "tspan", "rect", "circle"}, tags
    for name in ("patterns.dxf", "roll.dxf"):
        drawing = ezdxf.read(io.StringIO(files[name].decode("utf-8")))
        assert not drawing.audit().errors
        assert len(drawing.modelspace().query("LWPOLYLINE POLYLINE")) >= len(result.patterns)
    for name in ("templates.pdf", "layup.pdf"):
        pages = pypdf.PdfReader(io.BytesIO(files[name]), strict=True).pages
        assert all("/JS" not in page and "/AA" not in page for page in pages)
