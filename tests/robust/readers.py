"""Every reader of a file nobody vouches for, each as one call on bytes; and files to start from."""

from __future__ import annotations

import io
import json
import zipfile
from pathlib import Path

import numpy as np

from addon.threemf import read_3mf
from flatten.answer import load_answer
from flatten.cloth.library import SUPPLIED, read_fabrics
from flatten.errors import InputError
from flatten.export.calibration import Calibration, printers_text, read_printers
from flatten.folder import INDEX, STAGING, read_index, settle
from flatten.job import load_job, save_job
from flatten.nest.layout import Nest
from flatten.nest.stock import read_stock, write_stock
from flatten.packed import read_arrays
from flatten.run import LAYOUTS, run, stored_layouts
from flatten.surface.stl import read_stl, stl_bytes


def job_text(content, folder):
    (folder / "job.json").write_bytes(content)
    if not (folder / "arrays.npz").exists():
        (folder / "arrays.npz").write_bytes(SEEDS["arrays"][0])
    load_job(folder)


def arrays(content, folder):
    (folder / "a.npz").write_bytes(content)
    for name, array in read_arrays(folder / "a.npz").items():
        assert array.dtype.kind in "fiub", name


def job_arrays(content, folder):
    """The arrays of a job whose text is sound: whatever they are, a job or a named error."""
    (folder / "job.json").write_bytes(SEEDS["job_text"][0])
    (folder / "arrays.npz").write_bytes(content)
    load_job(folder)


def stock(content, folder):
    (folder / "stock.json").write_bytes(content)
    read_stock(folder / "stock.json")


def cloths(content, folder):
    (folder / "cloths.json").write_bytes(content)
    read_fabrics(folder / "cloths.json")


def index(content, folder):
    (folder / INDEX).write_bytes(content)
    read_index(folder)


def staged_index(content, folder):
    (folder / STAGING).mkdir(exist_ok=True)
    (folder / STAGING / INDEX).write_bytes(content)
    settle(folder)


def layouts(content, folder):
    (folder / INDEX).write_text("{}")
    (folder / LAYOUTS).write_bytes(content)
    for nest in stored_layouts(folder).values():
        assert isinstance(nest, Nest)


def stl(content, folder):
    (folder / "a.stl").write_bytes(content)
    assert np.isfinite(read_stl(folder / "a.stl").mesh.vertices).all()


def answer(content, folder):
    """The worker's answer: half facts, half arrays, parted at the first NUL."""
    facts, _, packed = content.partition(b"\0")
    (folder / "answer.json").write_bytes(facts)
    (folder / "answer.npz").write_bytes(packed)
    load_answer(folder)


def threemf(content, folder):
    (folder / "a.3mf").write_bytes(content)
    read_3mf(folder / "a.3mf")


def threemf_model(content, folder):
    """The XML inside, packed soundly."""
    with zipfile.ZipFile(folder / "a.3mf", "w") as made:
        made.writestr("3D/3dmodel.model", content)
    read_3mf(folder / "a.3mf")


def printers(content, folder):
    read_printers(content.decode("utf-8", "replace"))


READERS = {
    one.__name__: one
    for one in (
        job_text, arrays, job_arrays, stock, cloths, index, staged_index, layouts, stl, answer,
        printers, threemf, threemf_model,
    )
}  # fmt: skip
SEEDS: dict[str, list[bytes]] = {}
MODEL = b"""<?xml version="1.0"?>
<model unit="millimeter" xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02">
<resources><object id="1"><mesh><vertices><vertex x="0" y="0" z="0"/><vertex x="9" y="0" z="0"/>
<vertex x="0" y="9" z="1"/></vertices><triangles><triangle v1="0" v2="1" v3="2"/></triangles></mesh>
</object><object id="2"><components><component objectid="1" transform="1 0 0 0 1 0 0 0 1 5 0 0"/>
</components></object></resources><build><item objectid="2"/></build></model>"""


def make_seeds(folder: Path):
    """Fill SEEDS with good files of each kind, written by the program itself."""
    from sample_jobs import TWILL, dish, dish_job

    from flatten.laminate.ply import Ply
    from flatten.nest.roll import Offcut, Roll, Stock

    mould, inside, _ = dish(cells=4)
    shelf = Stock(
        rolls=(Roll(id="r1", fabric=TWILL, width_mm=1270, length_mm=9e3),),
        offcuts=(Offcut(id="o1", fabric=TWILL, outline=[[0, 0], [300, 0], [300, 200]]),),
    )
    plies = (Ply(id="p1", name="skin", faces=inside, fabric=TWILL, tack_mm=[0, 0, -14]),)
    job = dish_job(mould=mould, plies=plies, stock=shelf)
    save_job(job, folder / "job")
    text = json.loads((folder / "job" / "job.json").read_text())
    text.pop("arrays")
    write_stock(folder / "stock.json", shelf)
    (folder / "a.stl").write_bytes(stl_bytes(mould))
    nests = {name: nest.to_plain() for name, nest in run(job).nests.items()}
    facets = "".join(
        "facet normal 0 0 1\nouter loop\n"
        + "".join(f"vertex {x} {y} {z}\n" for x, y, z in corners)
        + "endloop\nendfacet\n"
        for corners in mould.corners[:4]
    )
    packed = (folder / "job" / "arrays.npz").read_bytes()
    measured = Calibration(printer="a", x_mm=99.5, y_mm=100.5)
    SEEDS.update(
        job_text=[json.dumps(text).encode()],
        arrays=[packed, _npz(a=np.zeros(3, "f2"), b=np.ones((2, 2), bool))],
        job_arrays=[packed],
        stock=[(folder / "stock.json").read_bytes()],
        cloths=[_few_cloths()],
        index=[b'{"files": {"a.dxf": "00"}}', b'{"files": {}}'],
        staged_index=[b'{"files": {"a.dxf": "00"}}'],
        layouts=[json.dumps(nests).encode()],
        stl=[(folder / "a.stl").read_bytes(), f"solid a\n{facets}endsolid\n".encode()],
        threemf=[npz_of([("3D/3dmodel.model", MODEL, zipfile.ZIP_DEFLATED)])],
        threemf_model=[MODEL],
        answer=[b'{"pieces": []}\0' + packed],
        printers=[printers_text({"a": measured}).encode()],
    )


def _few_cloths():
    data = json.loads(SUPPLIED.read_text(encoding="utf-8"))
    return json.dumps({**data, "cloths": data["cloths"][:2]}).encode()


def _npz(**arrays):
    packed = io.BytesIO()
    np.savez(packed, **arrays)
    return packed.getvalue()


def npz_of(members):
    """Return a zip of raw members, for arrays whose headers lie."""
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as made:
        for name, content, method in members:
            made.writestr(name, content, compress_type=method)
    return packed.getvalue()


def told(reader, content, folder):
    """Read; return "read" or "named". Anything else than InputError is a bug and goes on."""
    try:
        reader(content, folder)
    except InputError as error:
        if not error.message or not error.hint:
            raise AssertionError("an error without words or way out") from error
        return "named"
    return "read"
