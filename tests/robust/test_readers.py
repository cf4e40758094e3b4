"""Files in: damaged, hostile, newer or older; every reader returns or names what is wrong."""

import json
import random
import struct
import zipfile
from pathlib import Path

import numpy as np
import pytest
from robust import readers
from sample_jobs import dish_job

from addon.threemf import read_3mf
from flatten.errors import InputError
from flatten.job import load_job, save_job
from flatten.packed import read_arrays

MUTATIONS = 40  # of every seed; tests/bench/long_fuzz.py has the hundred thousands
ODD = [b"", b"\0", b"-1", b"1e999", b"NaN", b"null", b"[]", b"{}", b'"', b"\xff\xfe", b"9" * 400]


@pytest.fixture(scope="module", autouse=True)
def _seeds(tmp_path_factory):
    readers.make_seeds(tmp_path_factory.mktemp("seeds"))


def mutated(content, chance):
    """Return the bytes with a few flipped, cut out, doubled or replaced by something odd."""
    bytes_ = bytearray(content)
    for _ in range(chance.randint(1, 4)):
        start = chance.randrange(len(bytes_) + 1)
        end = min(len(bytes_), start + chance.choice([0, 1, 2, 8, 100]))
        new = chance.choice([*ODD, bytes(bytes_[start:end] * 2), chance.randbytes(end - start)])
        bytes_[start:end] = new
    return bytes(bytes_[: chance.choice([len(bytes_)] * 4 + [chance.randrange(len(bytes_) + 1)])])


@pytest.mark.parametrize("name", readers.READERS)
def test_a_damaged_file_is_read_or_named(name, tmp_path):
    chance = random.Random(20_011)
    outcomes = set()
    for seed in readers.SEEDS[name]:
        assert readers.told(readers.READERS[name], seed, tmp_path) in ("read", "named")
        for _ in range(MUTATIONS):
            outcomes.add(readers.told(readers.READERS[name], mutated(seed, chance), tmp_path))
    assert outcomes <= {"read", "named"}


@pytest.mark.parametrize("name", ["job_text", "arrays", "job_arrays", "stock", "cloths", "stl"])
def test_the_seeds_are_good_files(name, tmp_path):
    """Else the fuzzer would only ever see the first line of each reader."""
    for seed in readers.SEEDS[name]:
        assert readers.told(readers.READERS[name], seed, tmp_path) == "read"


@pytest.mark.parametrize(
    "content", [b"{" * 100_000, b"[" * 100_000, b'{"a":' * 50_000, b"9" * 5000]
)
@pytest.mark.parametrize("name", ["job_text", "stock", "cloths", "index", "layouts", "answer"])
def test_absurd_nesting_is_no_crash(name, content, tmp_path):
    assert readers.told(readers.READERS[name], content, tmp_path) in ("read", "named")


def header(text):
    """Return an array of format 1.0 with this header."""
    return b"\x93NUMPY\x01\x00" + struct.pack("<H", len(text)) + text.encode()


FRONT = "{'descr': '<f8', 'fortran_order': False, 'shape': "


@pytest.mark.parametrize(
    "content",
    [
        header(FRONT + "(3L,"),  # found by atheris: numpy's own reader ends in a TokenError
        header(FRONT + "-" * 9000 + "1}"),  # ... and here in a MemoryError
        header(FRONT + "(" * 5000 + ")" * 4000 + "}"),
        header(FRONT + "__import__('os').system('touch loot')}"),
        header("{'descr': '|O', 'fortran_order': False, 'shape': (1,), }") + b"x" * 8,
        header("{'descr': [('a', 'O')], 'fortran_order': False, 'shape': (1,), }"),
        header(FRONT + "(1000000000, 1000000000), }"),
        header(FRONT + "(" + "0, " * 100 + "), }"),
        b"\x93NUMPY\x02\x00\xff\xff\xff\xff{",
        b"",
    ],
)
def test_an_array_header_that_lies_is_named(content, tmp_path):
    (tmp_path / "a.npz").write_bytes(readers.npz_of([("a.npy", content, zipfile.ZIP_STORED)]))
    with pytest.raises(InputError, match="is damaged"):
        read_arrays(tmp_path / "a.npz")


def test_a_bomb_is_refused_before_memory_is_taken(tmp_path, monkeypatch):
    """60 KB that unpack to 60 MB, where 40 are allowed; and two thousand arrays."""
    monkeypatch.setattr("flatten.packed.MOST_BYTES", 40 * 2**20)
    zeros = b"\0" * (20 * 2**20)
    (tmp_path / "a.npz").write_bytes(
        readers.npz_of([(f"{n}.npy", zeros, zipfile.ZIP_DEFLATED) for n in range(3)])
    )
    (tmp_path / "many.npz").write_bytes(
        readers.npz_of([(f"{n}.npy", b"", zipfile.ZIP_STORED) for n in range(61_000)])
    )
    for name in ("a.npz", "many.npz"):
        with pytest.raises(InputError, match="would unpack to"):
            read_arrays(tmp_path / name)


@pytest.mark.parametrize("method", [zipfile.ZIP_LZMA, zipfile.ZIP_BZIP2])
def test_other_ways_of_packing_are_not_ours(method, tmp_path):
    """A damaged LZMA stream ends in an error of its own kind."""
    (tmp_path / "a.npz").write_bytes(readers.npz_of([("a.npy", b"x" * 100, method)]))
    with pytest.raises(InputError, match="packed by method"):
        read_arrays(tmp_path / "a.npz")


def test_what_numpy_writes_is_read(tmp_path):
    arrays = {
        "f": np.asfortranarray(np.arange(6.0).reshape(2, 3)), "i": np.arange(3),
        "b": np.array([True]), "u": np.zeros((0, 2), np.uint8), "0d": np.array(3.0),
    }  # fmt: skip
    np.savez_compressed(tmp_path / "a.npz", **arrays)
    for name, array in read_arrays(tmp_path / "a.npz").items():
        np.testing.assert_array_equal(array, arrays[name])
        assert array.dtype == arrays[name].dtype


MODEL = readers.MODEL


@pytest.mark.parametrize(
    "content",
    [
        MODEL.replace(b'v1="0"', b""),
        MODEL.replace(b'x="9"', b'x="nine"'),
        MODEL.replace(b'v1="0"', b'v1="7"'),
        MODEL.replace(b'x="9"', b'x="nan"'),
        MODEL.replace(b'transform="1 0', b'transform="1'),
        MODEL.replace(b"<resources>", b"<resources>&a;"),
        b"<!--" + b"x" * 3000 + b'--><!DOCTYPE m [<!ENTITY a "aa">]>' + MODEL[22:],
        MODEL.replace(  # ten lines that name each other into 10^8 copies
            b'<object id="2">',
            b"".join(
                b'<object id="%d"><components>%s</components></object>'
                % (level, b'<component objectid="%d"/>' % (level - 1) * 10)
                for level in range(10, 18)
            )
            + b'<object id="2">',
        ).replace(b'item objectid="2"', b'item objectid="17"'),
    ],
)
def test_a_hostile_3mf_is_named(content, tmp_path):
    with pytest.raises(InputError):
        readers.threemf_model(content, tmp_path)


@pytest.mark.parametrize("over", [0, 1])
def test_a_3mf_of_more_than_200_mb_is_refused_before_it_is_unpacked(over, tmp_path, monkeypatch):
    """As elements, XML takes sixteen times its size in memory: a gigabyte takes the machine."""
    file, name = tmp_path / "a.3mf", "3D/3dmodel.model"
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as made:
        made.writestr(name, MODEL)
        made.infolist()[0].file_size = 200 * 2**20 + over  # what its list of members says
    unpacked = []
    monkeypatch.setattr(zipfile.ZipFile, "read", lambda self, name: unpacked.append(name) or MODEL)
    if not over:
        assert len(read_3mf(file)[1])
        assert unpacked == [name]
        return
    with pytest.raises(InputError, match=r"'a.3mf' is larger than 200 MB\. Export a coarser mesh"):
        read_3mf(file)
    assert not unpacked


def edited(folder, **changes):
    """Save a job and change its text."""
    save_job(dish_job(), folder)
    data = json.loads((folder / "job.json").read_text())
    (folder / "job.json").write_text(json.dumps({**data, **changes}))
    return folder


def test_a_newer_job_is_named_and_an_older_one_without_the_sum_of_its_arrays_is_read(tmp_path):
    with pytest.raises(InputError, match="newer version"):
        load_job(edited(tmp_path / "new", version=99))
    with pytest.raises(InputError, match="unknown field 'colour'"):
        load_job(edited(tmp_path / "odd", colour="red"))

    assert load_job(edited(tmp_path / "old", arrays=None)) == dish_job()


def test_no_reader_unpickles_or_evaluates():
    """Read from the source: np.load only with pickles off, and nothing that runs text."""
    root = Path(__file__).parents[2]
    for file in [*root.glob("flatten/**/*.py"), *root.glob("addon/**/*.py")]:
        text = file.read_text(encoding="utf-8")
        assert "allow_pickle=True" not in text, file
        assert text.count("np.load(") == text.count("allow_pickle=False"), file
        for word in ("import pickle", "import marshal", "import shelve", "yaml.load", "os.system"):
            assert word not in text, (file, word)
        for call in ("eval(", "exec(", "__import__("):
            assert not any(
                line.split("#")[0].lstrip().startswith(call) or f" {call}" in line.split("#")[0]
                for line in text.splitlines()
            ), (file, call)
