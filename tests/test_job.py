"""A job folder holds a job whole: reading back gives an equal job, and bad ones are named."""

import io
import json
import zipfile
from dataclasses import replace

import numpy as np
import pytest
from sample_jobs import TWILL, dish_job

from flatten.errors import InputError
from flatten.export.settings import FileSettings
from flatten.job import ARRAY_FILE, JOB_FILE, Job, Settings, load_job, save_job
from flatten.laminate.extra import Extra
from flatten.laminate.settings import LaminateSettings
from flatten.mould.check import MouldPart
from flatten.nest.roll import Offcut, Roll, Stock
from flatten.nest.settings import NestSettings
from flatten.surface.cut import Cut
from flatten.surface.rosette import Rosette


@pytest.fixture
def job():
    return dish_job()


def rewrite(folder, **changes):
    data = json.loads((folder / JOB_FILE).read_text())
    data.update(changes)
    (folder / JOB_FILE).write_text(json.dumps(data))


def test_reading_back_gives_an_equal_job(job, tmp_path):
    stock = Stock(
        rolls=(Roll(id="shelf 2", fabric=job.fabrics[0].id, width_mm=1250, price_per_m=31.5),),
        offcuts=(Offcut(id="end", fabric=job.fabrics[0].id, outline=[[0, 0], [300, 0], [0, 200]]),),
    )
    cut = Cut(id="c1", kind="dart", path=[[0, 60, 0], [0, 30, -5.5]], under="right")
    plies = (replace(job.plies[0], cuts=(cut,), tack_mm=[1, 2, 3], name="κάλυμμα 外板"),)
    left = MouldPart(name="left half", faces=[0, 1, 2], pull=(1.0, 0.0, 0.0))
    job = replace(job, stock=stock, plies=plies, parts=(left,))

    save_job(job, tmp_path)
    back = load_job(tmp_path)

    assert back == job
    assert back.plies[0].cuts[0].under == "right"
    assert back.parts[0].faces.tolist() == [0, 1, 2]
    assert back.stock.rolls[0].price_per_m == 31.5
    assert back.plies[0].name == "κάλυμμα 外板"


def test_the_same_job_writes_the_same_bytes(job, tmp_path):
    for name in ("a", "b"):
        save_job(job, tmp_path / name)
    for file in (JOB_FILE, ARRAY_FILE):
        assert (tmp_path / "a" / file).read_bytes() == (tmp_path / "b" / file).read_bytes()


def changed_jobs():
    """Every input changed in turn."""
    job = dish_job()
    ply, settings = job.plies[0], job.settings
    moved = job.mould.vertices.copy()
    moved[0, 2] += 1e-9

    def with_ply(**change):
        return replace(job, plies=(replace(ply, **change), *job.plies[1:]))

    def with_settings(**change):
        return replace(job, settings=replace(settings, **change))

    return {
        "part": replace(job, part="another"),
        "vertex": replace(job, mould=type(job.mould)(moved, job.mould.faces)),
        "winding": replace(
            job, mould=type(job.mould)(job.mould.vertices, job.mould.faces[:, ::-1])
        ),
        "order of plies": replace(job, plies=job.plies[::-1]),
        "faces": with_ply(faces=ply.faces[1:]),
        "angle": with_ply(angle_deg=1e-3),
        "tack": with_ply(tack_mm=(0, 0, 0)),
        "method": with_ply(method="least_shear"),
        "trim": with_ply(trim_mm=1.0),
        "lap": with_ply(lap_mm=1.0),
        "repeat": with_ply(repeat=2),
        "seam use": with_ply(use_seams=False),
        "cut": with_ply(cuts=(Cut(id="c", kind="dart", path=[[0, 0, 0], [1, 0, 0]]),)),
        "rosette": replace(job, rosette=Rosette([0, 0, 0], [0, 1, 0], [0, 0, 1])),
        "ply rosette": with_ply(rosette=Rosette([0, 0, 0], [0, 1, 0], [0, 0, 1])),
        "cloth": replace(job, fabrics=(replace(job.fabrics[0], areal_weight_gsm=211.0),)),
        "stock": replace(job, stock=Stock(rolls=(Roll(id="r", fabric="x", width_mm=900),))),
        "seams": replace(job, seams=[[0, 1]]),
        "polygons": replace(job, polygons=np.arange(len(job.mould.faces)) // 2),
        "mould part": replace(job, parts=(MouldPart(name="left", faces=[0, 1]),)),
        "mould part's pull": replace(
            job, parts=(MouldPart(name="left", faces=[0, 1], pull=(1.0, 0.0, 0.0)),)
        ),
        "extra": replace(job, extras=(Extra(id="x", name="x", fabric=TWILL),)),
        "nest": with_settings(nest=NestSettings(gap_mm=4.0)),
        "resin": with_settings(laminate=LaminateSettings(pot_limit_g=100.0)),
        "files": with_settings(files=FileSettings(arcs=True)),
        "edge": with_settings(edge_mm=4.0),
        "seed": with_settings(seed=1),
    }


@pytest.mark.parametrize("change", changed_jobs())
def test_any_changed_input_changes_the_digest(change):
    assert changed_jobs()[change].digest != dish_job().digest


def test_every_field_of_a_job_is_among_those_changed():
    """A new field must get its line above: a digest that misses an input shows stale patterns."""
    told = {
        "part",
        "mould",
        "plies",
        "rosette",
        "fabrics",
        "stock",
        "settings",
        "seams",
        "polygons",
        "parts",
        "extras",
    }
    assert set(Job.__dataclass_fields__) == told
    assert set(Settings.__dataclass_fields__) == {
        "mould", "dressing", "laminate", "nest", "paper", "files", "edge_mm", "seed",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("changes", "reason"),
    [
        ({"colour": "red"}, "unknown field 'colour'"),
        ({"version": 999}, "newer version"),
        ({"version": True}, "version is True"),
        ({"version": None}, "version is None"),
        ({"format": "something"}, "not a job"),
        ({"part": 5}, "part is 5"),
        ({"part": " "}, "no name"),
        ({"plies": []}, "no plies"),
        ({"plies": {}}, "not a list"),
        ({"plies": [5]}, "ply 1 is not a ply"),
        ({"settings": {"seed": -1}}, "seed is -1"),
        ({"settings": {"nest": {"gap_mm": "wide"}}}, "gap_mm is 'wide'"),
        ({"settings": {"nest": {"gap_mm": -1}}}, "gap_mm is -1"),
        ({"fabrics": []}, "which is not in the job"),
    ],
)
def test_a_bad_job_file_is_named(job, tmp_path, changes, reason):
    save_job(job, tmp_path)
    rewrite(tmp_path, **changes)

    with pytest.raises(InputError, match=reason):
        load_job(tmp_path)


@pytest.mark.parametrize("text", ["", "{", "[]", "null", "\x00", "[" * 100_000])
def test_a_damaged_job_file_is_named(job, tmp_path, text):
    save_job(job, tmp_path)
    (tmp_path / JOB_FILE).write_text(text)

    with pytest.raises(InputError, match=r"job\.json' is"):
        load_job(tmp_path)


def test_damaged_arrays_are_named(job, tmp_path):
    save_job(job, tmp_path)
    whole = (tmp_path / ARRAY_FILE).read_bytes()
    for content in (b"", whole[:200], whole[:-30], b"PK\x03\x04" + whole[50:]):
        (tmp_path / ARRAY_FILE).write_bytes(content)
        with pytest.raises(InputError, match=r"arrays\.npz'"):
            load_job(tmp_path)


def test_pickled_arrays_are_refused(job, tmp_path):
    save_job(job, tmp_path)
    np.savez(tmp_path / ARRAY_FILE, vertices=np.array([{"a": 1}], dtype=object))

    with pytest.raises(InputError, match="damaged"):
        load_job(tmp_path)


def test_an_array_that_claims_more_than_it_holds_takes_no_memory(job, tmp_path):
    """A header may promise a terabyte in a file of a few bytes."""
    save_job(job, tmp_path)
    header = io.BytesIO()
    np.lib.format.write_array_header_1_0(
        header, {"descr": "<f8", "fortran_order": False, "shape": (2**37, 3)}
    )
    with zipfile.ZipFile(tmp_path / ARRAY_FILE, "w") as packed:
        packed.writestr("vertices.npy", header.getvalue())

    with pytest.raises(InputError, match="damaged"):
        load_job(tmp_path)


def test_a_packed_bomb_is_refused(job, tmp_path, monkeypatch):
    save_job(job, tmp_path)
    monkeypatch.setattr("flatten.packed.MOST_BYTES", 20 * 2**20)
    with (
        zipfile.ZipFile(tmp_path / ARRAY_FILE, "w", zipfile.ZIP_DEFLATED) as packed,
        packed.open("vertices.npy", "w", force_zip64=True) as member,
    ):
        for _ in range(22):
            member.write(bytes(2**20))

    with pytest.raises(InputError, match="would unpack to 22 MB"):
        load_job(tmp_path)


def test_a_missing_folder_is_named(tmp_path):
    with pytest.raises(InputError, match="cannot be read"):
        load_job(tmp_path / "nothing")


def test_a_folder_that_cannot_be_made_is_named(job, tmp_path):
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(InputError, match="cannot be written"):
        save_job(job, tmp_path / "file" / "job")


def test_faces_the_mould_does_not_have_are_refused(job):
    with pytest.raises(InputError, match="lies on face 99999"):
        replace(job, plies=(replace(job.plies[0], faces=[0, 99999]),))


def test_ids_are_unique(job):
    with pytest.raises(InputError, match="used twice"):
        replace(job, plies=(job.plies[0], job.plies[0]))
