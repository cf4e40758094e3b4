"""Files in that are no plain files, say a thing twice, or fill memory before they are counted."""

import json
import os
import threading
import warnings
import zipfile

import numpy as np
import pytest
from robust import readers
from sample_jobs import dish_job

from flatten.cloth.library import read_fabrics
from flatten.errors import InputError
from flatten.folder import INDEX, read_index, write_set
from flatten.job import load_job, save_job
from flatten.json_file import read_json
from flatten.nest.stock import read_stock
from flatten.packed import read_arrays

READ = {"job": load_job, "stock": read_stock, "cloths": read_fabrics, "results": read_index}


@pytest.fixture
def job(tmp_path):
    save_job(dish_job(), tmp_path / "job")
    return tmp_path / "job"


def place(kind, folder):
    """Return the file a reader of this kind opens, and what it is called with."""
    folder.mkdir(exist_ok=True)
    file = folder / {"job": "job.json", "results": INDEX}.get(kind, "a.json")
    file.unlink(missing_ok=True)
    return file, folder if kind in ("job", "results") else file


@pytest.mark.skipif(os.name == "nt", reason="pipes and devices of POSIX")
@pytest.mark.parametrize("kind", READ)
def test_a_pipe_or_a_link_to_a_device_is_named_and_never_waited_for(kind, tmp_path):
    """A zip from the internet may hold links; /dev/zero has no end and says its size is 0."""
    file, given = place(kind, tmp_path / "a")
    file.symlink_to("/dev/zero")
    with pytest.raises(InputError, match="no plain file"):
        READ[kind](given)
    file, given = place(kind, tmp_path / "a")
    os.mkfifo(file)
    told = []
    waiting = threading.Thread(target=lambda: told.append(_told(READ[kind], given)), daemon=True)
    waiting.start()
    waiting.join(20)
    assert told, "it waits for a pipe that nobody writes to"
    assert "no plain file" in told[0]


def _told(reader, given):
    try:
        reader(given)
    except InputError as error:
        return str(error)
    return "read"


@pytest.mark.skipif(os.name == "nt", reason="devices of POSIX")
def test_arrays_that_are_a_device_are_named(job):
    (job / "arrays.npz").unlink()
    (job / "arrays.npz").symlink_to("/dev/zero")
    with pytest.raises(InputError, match="no plain file"):
        load_job(job)


def test_a_link_to_a_plain_file_is_read(job, tmp_path):
    """Folders made of links are common in synchronised homes."""
    (job / "job.json").rename(tmp_path / "elsewhere.json")
    (job / "job.json").symlink_to(tmp_path / "elsewhere.json")
    assert load_job(job) == dish_job()


def test_a_field_twice_is_named_and_none_of_the_two_is_taken(job):
    """RFC 8259, section 4: what a reader makes of it is unpredictable."""
    text = (job / "job.json").read_text()
    (job / "job.json").write_text(text.replace('"part":', '"part": "another", "part":', 1))
    with pytest.raises(InputError, match="'part' stands in it twice"):
        load_job(job)


@pytest.mark.parametrize("word", ["NaN", "Infinity", "-Infinity"])
def test_nan_is_no_number_of_json(job, word):
    data = json.loads((job / "job.json").read_text())
    text = json.dumps({**data, "rosette": {**data["rosette"], "origin": ["@", 0, 0]}})
    (job / "job.json").write_text(text.replace('"@"', word))
    with pytest.raises(InputError, match=f"{word} is no number"):
        load_job(job)


def test_millions_of_empty_lists_are_refused_before_they_are_made(tmp_path):
    """Three bytes of text would be sixty-four of memory: 64 MB of them 1.4 GB."""
    (tmp_path / "a.json").write_bytes(b"[" + b"[]," * 2_100_000 + b"0]")
    with pytest.raises(ValueError, match="2000000 lists"):
        read_json(tmp_path / "a.json", 64 * 2**20)


def test_a_file_beyond_its_limit_is_refused(tmp_path):
    (tmp_path / "a.json").write_bytes(b'"' + b"x" * 2**20 + b'"')
    with pytest.raises(ValueError, match="larger than 1 MB"):
        read_json(tmp_path / "a.json", 2**20)


# --- zips


def directory(names, more=b""):
    """Return a zip of nothing but its list of members, each of nothing."""
    entry = b"PK\1\2" + bytes(6) + bytes(18) + b"\1\0" + bytes(16)
    listed = b"".join(entry + b"a" for _ in range(names))
    end = b"PK\5\6" + bytes(4) + b"\xff\xff" * 2 + len(listed).to_bytes(4, "little") + bytes(6)
    return listed + more + end


def test_the_directory_made_here_is_read_by_zipfile(tmp_path):
    """Else the next test would see a file that is refused for another reason."""
    (tmp_path / "a.zip").write_bytes(directory(3))
    with zipfile.ZipFile(tmp_path / "a.zip") as packed:
        assert len(packed.infolist()) == 3


@pytest.mark.parametrize("comment", [b"", b"a comment"])
def test_a_list_of_members_that_would_fill_memory_is_refused_unread(tmp_path, monkeypatch, comment):
    content = directory(400_000)
    content = content[:-2] + len(comment).to_bytes(2, "little") + comment
    (tmp_path / "a.npz").write_bytes(content)
    opened = []
    monkeypatch.setattr("flatten.packed.zipfile.ZipFile", lambda file: opened.append(file) or 1 / 0)
    with pytest.raises(InputError, match="MB of names"):
        read_arrays(tmp_path / "a.npz")
    assert not opened


def test_a_zip_for_more_than_4_gb_is_refused_unread(tmp_path):
    locator = b"PK\6\7" + bytes(16)
    (tmp_path / "a.npz").write_bytes(directory(1, locator))
    with pytest.raises(InputError, match="more than 4 GB"):
        read_arrays(tmp_path / "a.npz")


def test_two_arrays_of_one_name_are_named(tmp_path):
    np.savez(tmp_path / "one.npz", faces=np.zeros(3))
    with zipfile.ZipFile(tmp_path / "one.npz") as packed:
        array = packed.read("faces.npy")
    for second in ("faces.npy", "faces"):
        members = [(name, array, zipfile.ZIP_STORED) for name in ("faces.npy", second)]
        with warnings.catch_warnings(action="ignore"):  # zipfile warns of what is done here
            (tmp_path / "a.npz").write_bytes(readers.npz_of(members))
        with pytest.raises(InputError, match="two arrays are called 'faces'"):
            read_arrays(tmp_path / "a.npz")


def test_an_array_no_job_has_is_named(job, tmp_path):
    """As a field no job has: what it would say would be lost."""
    with np.load(job / "arrays.npz") as packed:
        arrays = dict(packed)
    np.savez(job / "arrays.npz", **arrays, ply7=np.arange(3))
    data = json.loads((job / "job.json").read_text())
    (job / "job.json").write_text(json.dumps({**data, "arrays": None}))
    with pytest.raises(InputError, match="unknown array 'ply7'"):
        load_job(job)


def test_what_we_write_we_can_read(tmp_path, monkeypatch):
    """A job or a result beyond the readers' limits is refused while it is still in hand."""
    monkeypatch.setattr("flatten.job.MOST_JSON_BYTES", 100)
    with pytest.raises(InputError, match="text would fill"):
        save_job(dish_job(), tmp_path / "job")
    write_set(tmp_path / "cut", {"a.dxf": b"old"}, {"n": 1})
    monkeypatch.setattr("flatten.folder.MOST_INDEX_BYTES", 2**20)
    with pytest.raises(InputError, match="would fill 1 MB"):
        write_set(tmp_path / "cut", {"a.dxf": b"new"}, {"n": "x" * 2**20})
    assert read_index(tmp_path / "cut")["n"] == 1
