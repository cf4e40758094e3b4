"""`tasks.py audit`: what ships is looked up among known weaknesses, or it says that it was not."""

import json
import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]
PRETENDED = """
import json, pathlib, sys
listed = pathlib.Path(sys.argv[sys.argv.index("--requirement") + 1]).read_text()
names = [line.split("==")[0] for line in listed.split()]
assert len(names) == len(set(names)), "the tool refuses a name that stands there twice"
print(json.dumps([sys.argv[1:], listed.split()]))
sys.exit(1)
"""


def audit(*arguments, beside=""):
    alone = [] if beside else ["-S"]  # without the libraries of this Python
    return subprocess.run(
        [sys.executable, *alone, str(ROOT / "tasks.py"), "audit", *arguments],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "PYTHONPATH": str(beside)},
    )


def shipped():
    lock = json.loads((ROOT / "addon" / "carried.json").read_text(encoding="utf-8"))
    return {tuple(w["file"].split("-")[:2]) for wheels in lock.values() for w in wheels}


def test_every_library_that_ships_is_asked_about_and_the_answer_is_the_exit_code(tmp_path):
    (tmp_path / "pip_audit.py").write_text(PRETENDED, encoding="utf-8")

    done = audit("--desc", beside=tmp_path)

    rounds = [json.loads(line) for line in done.stdout.splitlines()]
    listed = [pin for _, pins in rounds for pin in pins]
    assert done.returncode == 1
    assert {tuple(line.split("==")) for line in listed} == shipped()
    assert len(listed) == len(set(listed)) >= 11
    for asked, _ in rounds:
        assert {"--no-deps", "--disable-pip"} <= set(asked)  # nothing is installed
        assert {"--strict", "--desc"} <= set(asked)  # what was not looked up is no pass


def test_without_the_tool_it_says_that_nothing_was_looked_up():
    done = audit()

    assert done.returncode == 2
    assert "none was looked up: pip-audit is not installed" in done.stderr
    assert set(done.stdout.split()) == {"==".join(pair) for pair in shipped()}
