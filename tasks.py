#!/usr/bin/env python3
"""mouldply's own tasks: setup, demo, test, lint, bench, build, audit, samples. Needs only Python.

python3 tasks.py demo      make .venv, run a sample job, show what it wrote
python3 tasks.py test      lint, types and all tests, under every supported Python found
python3 tasks.py setup     only make .venv
python3 tasks.py lint      ruff and mypy
python3 tasks.py bench     timed figures, written to out/bench/
python3 tasks.py build     extension zips for Blender, written to out/build/
python3 tasks.py audit     known weaknesses of the wheels that ship, where pip-audit is installed
python3 tasks.py samples   make blend_samples/*.blend again
"""

from __future__ import annotations

import hashlib
import importlib.util
import json
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parent
SUPPORTED = ("3.11", "3.13")  # the Pythons inside Blender 4.2-5.0 and from 5.1 on
DEMO = "hatch_cover"


def main(arguments: list[str]) -> int:
    """Run one task; return its exit code."""
    tasks = {
        "setup": setup, "demo": demo, "test": test, "lint": lint,
        "bench": bench, "build": build, "audit": audit, "samples": samples,
    }  # fmt: skip
    if not arguments or arguments[0] not in tasks:
        print(__doc__)
        return 0 if arguments[:1] in ([], ["help"], ["-h"], ["--help"]) else 2
    return tasks[arguments[0]](arguments[1:])


def setup(arguments: list[str]) -> int:
    """Make .venv with the project and bpy."""
    environment(main_version(), "blender")
    print(f"Ready: {ROOT / '.venv'}")
    return 0


def demo(arguments: list[str]) -> int:
    """Run a sample from the .blend to the cut files."""
    python = environment(main_version(), "blender")
    sample = arguments[0] if arguments else DEMO
    blend = ROOT / "blend_samples" / f"{sample}.blend"
    if not blend.is_file():
        names = sorted(file.stem for file in blend.parent.glob("*.blend"))
        print(f"There is no sample '{sample}'. Choose one of {', '.join(names)}.", file=sys.stderr)
        return 2
    folder = ROOT / "out" / "demo"
    return run(python, "-m", "flatten", "run", str(blend), "--out", str(folder))


def test(arguments: list[str]) -> int:
    """Lint, type-check and test; bpy has a process of its own, since it may hang at exit."""
    failed: list[str] = []
    for number, version in enumerate(found_versions()):
        python = environment(version, "blender", "test", "lint")
        if number == 0 and not arguments:
            failed += ["lint"] if lint([]) else []
        for name, command in {
            "engine": ["-n", "2", "--ignore=tests/blender"],
            "blender": ["tests/blender"],
        }.items():
            if arguments and name == "blender" and not any("blender" in word for word in arguments):
                continue
            print(f"\n== Python {version}: {name} tests", flush=True)
            code = run(python, "-m", "pytest", "-q", *(arguments or command))
            failed += [f"{name} tests, Python {version}"] if code not in (0, 5) else []
            if arguments:
                break
    print("\nFailed: " + "; ".join(failed) if failed else "\nAll passed.")
    return 1 if failed else 0


def lint(arguments: list[str]) -> int:
    """Check format, style and types."""
    python = environment(main_version(), "blender", "test", "lint")
    codes = [
        run(python, "-m", "ruff", "format", "--check", "."),
        run(python, "-m", "ruff", "check", "."),
        run(python, "-m", "mypy"),
    ]
    return max(codes)


def bench(arguments: list[str]) -> int:
    """Run the timed figures; they never decide about a commit."""
    python = environment(main_version(), "blender", "test")
    return run(python, str(ROOT / "tests" / "bench" / "run.py"), *arguments)


def build(arguments: list[str]) -> int:
    """Pack and validate the extension zips."""
    python = environment(main_version(), "blender")
    return run(python, "-m", "addon.build", *arguments)


def audit(arguments: list[str]) -> int:
    """Ask pip-audit, if this Python has it, about every wheel that ships. It asks the network."""
    listed = carried()
    if importlib.util.find_spec("pip_audit") is None:
        print("\n".join(listed))
        print(
            f"These {len(listed)} libraries ship, pinned by their digests; none was looked up: "
            "pip-audit is not installed.\nInstall it (pip install pip-audit) and ask again.",
            file=sys.stderr,
        )
        return 2
    worst = 0
    with tempfile.TemporaryDirectory() as folder:
        named = Path(folder) / "requirements.txt"
        for once in each_once(listed):
            named.write_text("\n".join(once) + "\n", encoding="utf-8")
            # Strict: what could not be looked up is no pass.
            pinned = ("--strict", "--no-deps", "--disable-pip", "--requirement", str(named))
            worst = max(worst, run(Path(sys.executable), "-m", "pip_audit", *pinned, *arguments))
    return worst


def each_once(listed: list[str]) -> list[list[str]]:
    """Return NAME==VERSION in lists that hold each name once: systems may carry two versions."""
    rounds: list[dict[str, str]] = []
    for pin in listed:
        name = pin.split("==")[0]
        free = next((names for names in rounds if name not in names), None)
        if free is None:
            rounds.append(free := {})
        free[name] = pin
    return [list(names.values()) for names in rounds]


def carried() -> list[str]:
    """Return NAME==VERSION of every library in the extension's zips, from the wheels' names."""
    lock = json.loads((ROOT / "addon" / "carried.json").read_text(encoding="utf-8"))
    files = {wheel["file"] for wheels in lock.values() for wheel in wheels}
    return sorted({"==".join(file.split("-")[:2]) for file in files})


def samples(arguments: list[str]) -> int:
    """Make the sample .blend files again."""
    python = environment(main_version(), "blender")
    return run(python, str(ROOT / "blend_samples" / "make_samples.py"), *arguments)


def run(python: Path, *arguments: str) -> int:
    """Run a command in the project folder with this Python; return its exit code."""
    command = [str(python), *arguments]
    return subprocess.run(command, cwd=ROOT, env={**os.environ, "PYTHONUTF8": "1"}).returncode


def environment(version: str, *extras: str) -> Path:
    """Return the Python of the environment for `version`, made or brought up to date first."""
    folder = ROOT / (".venv" if version == main_version() else f".venv-{version}")
    python = folder / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
    stamp = folder / "mouldply.stamp"
    state = hashlib.sha256((ROOT / "pyproject.toml").read_bytes() + version.encode()).hexdigest()
    had = stamp.read_text().split() if stamp.is_file() and python.exists() else []
    if had[:1] == [state] and set(extras) <= set(had[1:]):
        return python
    wanted = sorted({*extras, *(had[1:] if had[:1] == [state] else [])})
    print(f"Setting up {folder.name} (Python {version}: {', '.join(wanted)}) ...", flush=True)
    interpreter = interpreter_for(version)
    assert interpreter is not None
    if not python.exists():
        subprocess.run([interpreter, "-m", "venv", "--clear", str(folder)], check=True)
    install = [str(python), "-m", "pip", "install", "--quiet", "--disable-pip-version-check"]
    try:
        subprocess.run(
            [*install, "--editable", f"{ROOT}[{','.join(wanted)}]"], check=True, cwd=ROOT
        )
    except subprocess.CalledProcessError:
        sys.exit("Setting up failed, see above. Check the network and the free space, then repeat.")
    stamp.write_text(" ".join([state, *wanted]))
    return python


def main_version() -> str:
    """Return the version .venv is made with: this Python if it is a supported one."""
    here = f"{sys.version_info.major}.{sys.version_info.minor}"
    return here if here in SUPPORTED else found_versions()[0]


def found_versions() -> list[str]:
    """Return the supported Pythons of this machine, this one first."""
    here = f"{sys.version_info.major}.{sys.version_info.minor}"
    found = [version for version in SUPPORTED if interpreter_for(version)]
    if not found:
        sys.exit(f"Python {here} is not supported. Install Python {' or '.join(SUPPORTED)}.")
    return sorted(found, key=lambda version: version != here)


def interpreter_for(version: str) -> str | None:
    """Return a Python of this version, None where there is none that works."""
    if version == f"{sys.version_info.major}.{sys.version_info.minor}":
        return sys.executable
    candidates = [shutil.which(f"python{version}")]
    kept = Path(os.environ.get("PYENV_ROOT", Path.home() / ".pyenv")) / "versions"
    candidates += [str(file) for file in sorted(kept.glob(f"{version}.*/bin/python"))]
    for candidate in candidates:
        if candidate and subprocess.run([candidate, "-c", ""], capture_output=True).returncode == 0:
            return candidate
    return None


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
