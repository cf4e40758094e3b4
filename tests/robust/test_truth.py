"""Current or refused: stale results, the same bytes everywhere, no network, licences, wheels.

Longer than most files: one test for each promise a result makes.
"""

import hashlib
import json
import os
import re
import shutil
import subprocess
import sys
import tomllib
from dataclasses import fields, is_dataclass, replace
from importlib.metadata import distribution, requires
from pathlib import Path

import numpy as np
import pytest
from sample_jobs import TWILL, dish, dish_job

from addon import build
from flatten.deliver import deliver
from flatten.folder import read_index
from flatten.job import save_job
from flatten.laminate.ply import Ply
from flatten.nest.roll import Roll, Stock
from flatten.run import run
from flatten.surface.mesh import MouldMesh
from flatten.surface.rosette import Rosette

ROOT = Path(__file__).parents[2]


def small_job(**changes):
    mould, inside, _ = dish(cells=6)
    plies = (Ply(id="p1", name="skin", faces=inside, fabric=TWILL, angle_deg=20.0),)
    return dish_job(**{"mould": mould, "plies": plies, **changes})


# --- stale results


def changed(value):
    """Return a value of the same kind that differs a little; None where there is no telling."""
    if isinstance(value, bool):
        return not value
    if isinstance(value, int):
        return value + 1
    if isinstance(value, float):
        return value * 1.0000001 + 1e-7
    if isinstance(value, str):
        return value + "x"
    return None


def variants(record):
    """Yield (name, record) with one plain field changed, nested records too, where allowed."""
    from flatten.errors import InputError

    for field in fields(record):
        value = getattr(record, field.name)
        if is_dataclass(value):
            for name, inner in variants(value):
                yield f"{field.name}.{name}", replace(record, **{field.name: inner})
        elif (new := changed(value)) is not None:
            try:
                yield field.name, replace(record, **{field.name: new})
            except InputError:  # not every value may be changed a little
                continue


def test_every_input_changes_the_digest():
    """A result whose digest is another is out of date: no input may be left out of it."""
    job = small_job(stock=Stock(rolls=(Roll(id="r", fabric=TWILL, width_mm=1000.0),)))
    moved = np.array(job.mould.vertices)
    moved[0, 2] += 1e-9
    others = {
        "vertices": replace(job, mould=MouldMesh(moved, job.mould.faces)),
        "faces": replace(job, mould=MouldMesh(job.mould.vertices, job.mould.faces[:, [1, 2, 0]])),
        "seams": replace(job, seams=job.mould.edges.vertices[:1]),
        "polygons": replace(job, polygons=np.arange(len(job.mould.faces))),
        "part": replace(job, part="other"),
        "rosette": replace(job, rosette=Rosette([0, 0, 1], [1, 0, 0], [0, 0, 1])),
        "ply faces": replace(job, plies=(replace(job.plies[0], faces=job.plies[0].faces[1:]),)),
        "ply tack": replace(job, plies=(replace(job.plies[0], tack_mm=[1, 0, -14]),)),
        "ply rosette": replace(job, plies=(replace(job.plies[0], rosette=job.rosette),)),
        "plies": replace(job, plies=(job.plies[0], replace(job.plies[0], id="p2"))),
        "roll": replace(job, stock=Stock(rolls=(replace(job.stock.rolls[0], width_mm=999.0),))),
    }
    for name, fabric in variants(job.fabrics[0]):
        others[f"cloth {name}"] = None if name == "id" else replace(job, fabrics=(fabric,))
    for name, ply in variants(job.plies[0]):
        others[f"ply {name}"] = None if name == "fabric" else replace(job, plies=(ply,))
    for name, changed_settings in variants(job.settings):
        others[f"settings {name}"] = replace(job, settings=changed_settings)
    others = {name: other for name, other in others.items() if other is not None}

    digests = {name: other.digest for name, other in others.items()}

    assert len(others) > 60  # else the walk through the records no longer finds the fields
    assert [name for name, digest in digests.items() if digest == job.digest] == []
    assert replace(job).digest == job.digest


def test_a_run_replaces_all_of_an_older_job_files(tmp_path):
    """Nothing of the old job is left to be cut by mistake: here the old one had two cloths."""
    job = small_job()
    other = replace(job.fabrics[0], id="other")
    two = replace(
        job,
        fabrics=(*job.fabrics, other),
        plies=(*job.plies, replace(job.plies[0], id="p2", fabric="other")),
    )
    for one in (two, job):
        deliver(run(one), one, tmp_path / "cut")

    index = read_index(tmp_path / "cut")
    assert index["job_digest"] == job.digest
    there = {file.name for file in (tmp_path / "cut").iterdir()}
    assert there == {*index["files"], "result.json"}
    assert not any("other" in name for name in there)


def run_cli(*arguments, python=sys.executable, env=None, before=(), cwd=ROOT, check=True):
    path = {"PYTHONPATH": str(ROOT), "OMP_NUM_THREADS": "1"}
    return subprocess.run(
        [*before, python, "-m", "flatten", *arguments],
        cwd=cwd, env={**os.environ, **path, **(env or {})}, check=check, capture_output=True,
    )  # fmt: skip


# --- the same bytes


def other_python():
    """Return another supported Python that has what the engine needs, if this machine has one."""
    given = os.environ.get("MOULDPLY_OTHER_PYTHON")
    beside = [Path(sys.prefix).parent / name / "bin" / "python" for name in ("v311", "v313")]
    beside += [ROOT / name / "bin" / "python" for name in (".venv", ".venv-3.11", ".venv-3.13")]
    for python in [Path(given)] if given else beside:
        if python.exists() and Path(sys.prefix) != python.parents[1]:
            tried = subprocess.run([python, "-c", "import cvxopt, shapely, ezdxf, reportlab"])
            if tried.returncode == 0:
                return python
    return None


def test_another_python_cuts_the_same_cloth(tmp_path):
    """Other libraries round otherwise in the last digits: a cut line may differ by 0.001 mm.

    Reason: the drape stops at 1e-6 mm a step, coordinates are written to 1e-4 mm or coarser.
    """
    python = other_python()
    if python is None:
        pytest.skip("there is no other supported Python here")
    save_job(small_job(), tmp_path / "job")
    for name, one in (("a", sys.executable), ("b", python)):
        run_cli("run", tmp_path / "job", "--out", tmp_path / name, python=one)
    first, second = read_index(tmp_path / "a"), read_index(tmp_path / "b")

    assert first["job_digest"] == second["job_digest"]
    for one, other in zip(first["pieces"], second["pieces"], strict=True):
        border = 1e-3 * one["cut_perimeter_mm"]
        assert one["cut_area_mm2"] == pytest.approx(other["cut_area_mm2"], abs=border)
        assert one["max_shear_deg"] == pytest.approx(other["max_shear_deg"], abs=0.01)
    numbers = [
        np.array(re.findall(r"(?<= )-?\d+\.\d+", (tmp_path / name / "cut_list.csv").read_text()))
        for name in ("a", "b")
    ]
    assert len(numbers[0]) == len(numbers[1])


def test_no_network_comma_locales_and_odd_folders_change_nothing(tmp_path):
    """In a network namespace of its own there is not even a loopback that is up.

    The folder's name has blanks, quotes and letters of three scripts.
    """
    if not shutil.which("unshare"):
        pytest.skip("there is no unshare here")
    alone = ["unshare", "--net"] if os.geteuid() == 0 else ["unshare", "--net", "--map-root-user"]
    if subprocess.run([*alone, "true"], capture_output=True).returncode:
        pytest.skip("network namespaces are not permitted here")
    save_job(small_job(), tmp_path / "job")
    odd = tmp_path / "l'été №1 型 %TEMP%"
    odd.mkdir()
    run_cli("run", tmp_path / "job", "--out", tmp_path / "plain", env={"PYTHONHASHSEED": "0"})
    run_cli(
        "run", tmp_path / "job", "--out", odd / "cut", cwd=odd, before=alone,
        env={"PYTHONHASHSEED": "77", "LC_ALL": "de_DE.UTF-8", "LANG": "tr_TR.UTF-8",
             "TZ": "Asia/Kathmandu"},
    )  # fmt: skip

    assert read_index(odd / "cut")["rolls"]
    assert read_index(tmp_path / "plain")["files"] == read_index(odd / "cut")["files"]


def test_nothing_of_ours_knows_the_network():
    words = re.compile(r"\b(import|from) (socket|urllib|http|requests|ssl|ftplib|smtplib)\b")
    allowed = {"addon/build.py", "addon/carried.py"}  # they make the zip, and are not in it
    for file in [*ROOT.glob("flatten/**/*.py"), *ROOT.glob("addon/**/*.py")]:
        if file.relative_to(ROOT).as_posix() not in allowed:
            assert not words.search(file.read_text(encoding="utf-8")), file


def test_a_process_that_writes_decimal_commas_writes_the_same_files(tmp_path):
    """The variables alone change nothing in Python: the host must have asked for its locale.

    As programs that Python is built into do. The locale is made here; few machines have it.
    """
    made = tmp_path / "locales" / "de_DE.UTF-8"
    made.parent.mkdir()
    if not shutil.which("localedef") or subprocess.run(
        ["localedef", "-i", "de_DE", "-f", "UTF-8", made], capture_output=True
    ).returncode not in (0, 1):  # 1: made, with warnings
        pytest.skip("no locale can be made here")
    save_job(small_job(), tmp_path / "job")
    script = (
        "import locale, sys; from flatten.__main__ import main\n"
        "locale.setlocale(locale.LC_ALL, sys.argv[1])\n"
        "print(locale.format_string('%.1f', 1.5), file=sys.stderr)\n"
        "sys.exit(main(['run', sys.argv[2], '--out', sys.argv[3]]))"
    )
    for name in ("C", "de_DE.UTF-8"):
        told = subprocess.run(
            [sys.executable, "-c", script, name, tmp_path / "job", tmp_path / name], cwd=ROOT,
            env={**os.environ, "LOCPATH": str(made.parent), "OMP_NUM_THREADS": "1"},
            capture_output=True, text=True, check=True,
        )  # fmt: skip
        assert ("1,5" in told.stderr) == (name != "C"), told.stderr  # else nothing is tried
    assert read_index(tmp_path / "C")["files"] == read_index(tmp_path / "de_DE.UTF-8")["files"]


def test_the_hash_seed_of_a_process_changes_no_byte(tmp_path):
    """Three seeds: where two things come out of a set, two seeds look the same every other time."""
    save_job(small_job(), tmp_path / "job")
    seen = set()
    for seed in range(3):
        script = (
            "import sys, hashlib; from pathlib import Path; from flatten.job import load_job\n"
            "from flatten.run import run; from flatten.deliver import files_of\n"
            "job = load_job(Path(sys.argv[1])); files = files_of(run(job), job)\n"
            "print({name: hashlib.sha256(files[name]).hexdigest() for name in sorted(files)})"
        )
        told = subprocess.run(
            [sys.executable, "-c", script, tmp_path / "job"], cwd=ROOT, check=True,
            capture_output=True, text=True,
            env={**os.environ, "PYTHONHASHSEED": str(seed), "OMP_NUM_THREADS": "1"},
        )  # fmt: skip
        seen.add(told.stdout)
    assert len(seen) == 1


# --- what ships

# Licences a GPL-3.0-or-later extension may carry. Source: gnu.org, "Various Licenses and Comments
# about Them" (from memory).
FREE = re.compile(
    r"MIT|BSD|Apache|PSF|Python Software|GPL-3|GPLv3|LGPL|ISC|HPND|CMU|Zlib|0BSD", re.IGNORECASE
)


def test_every_carried_wheel_is_pinned_by_its_digest():
    lock = json.loads((ROOT / "addon" / "carried.json").read_text(encoding="utf-8"))
    assert set(lock) == {"linux-x64", "windows-x64", "macos-x64", "macos-arm64"}
    for platform, wheels in lock.items():
        assert len({wheel["file"] for wheel in wheels}) == len(wheels), platform
        for wheel in wheels:
            assert re.fullmatch(r"[A-Za-z0-9_.]+-[^-]+-[^-]+-[^-]+-[^-]+\.whl", wheel["file"])
            assert re.fullmatch(r"[0-9a-f]{64}", wheel["sha256"]), wheel


def test_a_wheel_that_was_changed_is_refused(tmp_path):
    from addon import carried

    name = "thing-1.0-py3-none-any.whl"
    (tmp_path / name).write_bytes(b"changed")
    wheel = {"file": name, "sha256": hashlib.sha256(b"good").hexdigest()}
    with pytest.raises(SystemExit, match="is not the wheel"):
        carried.fetch(wheel, tmp_path)


def test_the_extension_asks_for_no_network_permission():
    manifest = tomllib.loads((ROOT / "addon" / "blender_manifest.toml").read_text("utf-8"))
    assert set(manifest["permissions"]) <= {"files"}


def test_every_library_of_the_engine_is_free_and_named_with_a_reason():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    names = [re.match(r"[A-Za-z0-9-]+", need)[0] for need in project["dependencies"]]
    stated = build.STATED  # read from the licence text, where the metadata says too little
    todo, seen = list(names), set()
    while todo:
        name = todo.pop()
        if name.lower() in seen:
            continue
        seen.add(name.lower())
        facts = distribution(name).metadata
        said = " ".join(
            [
                stated.get(name.lower(), ""),
                facts.get("License-Expression") or "",
                (facts.get("License") or "")[:200],
                *[c for c in facts.get_all("Classifier") or [] if c.startswith("License")],
            ]
        )
        assert FREE.search(said), f"{name}: {said!r}"
        todo += [
            re.match(r"[A-Za-z0-9_.-]+", need)[0]
            for need in requires(name) or []
            if "extra ==" not in need and "python_version <" not in need
        ]
    assert len(seen) >= len(names)
