"""README and guide keep their word: commands run as written, links and names are there."""

import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from flatten.__main__ import _parser, main

ROOT = Path(__file__).parents[1]
PAGES = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "addon/guide").glob("*.md"))]
TOOL = ".venv/bin/mouldply"
TASK = "python3 tasks.py"


def commands(page: Path) -> list[str]:
    """Return the commands of a page's indented blocks, comments left out."""
    lines = re.findall(r"^ {4}(\S.*)$", page.read_text(encoding="utf-8"), re.MULTILINE)
    clean = (re.sub(r"\s+#.*$", "", line).strip() for line in lines)
    return [line for line in clean if line.startswith((TOOL, "mouldply ", TASK))]


EVERY = sorted({(page.name, line) for page in PAGES for line in commands(page)})


def test_the_readme_has_commands():
    told = commands(ROOT / "README.md")
    assert f"{TASK} demo" in told
    assert any(line.startswith(f"{TOOL} run") for line in told)


@pytest.mark.parametrize(("page", "line"), EVERY)
def test_a_command_is_one_the_program_knows(page, line):
    words = shlex.split(line)
    if line.startswith(TASK):
        known = subprocess.run(
            [sys.executable, str(ROOT / "tasks.py"), "help"], capture_output=True, text=True
        ).stdout
        assert f"tasks.py {words[2]} " in known
        return
    if words[1:] == ["--help"]:
        return
    _parser().parse_args(words[1:])  # leaves with 2 where it does not know a word
    for word in words:
        if word.startswith("blend_samples/"):
            assert (ROOT / word).exists()


@pytest.mark.parametrize("line", [line for _, line in EVERY if "mouldply" in line])
def test_the_cheap_commands_run(line, tmp_path, monkeypatch, capsys):
    words = shlex.split(line)[1:]
    if words[0] in ("cloths", "completion"):
        assert main(words) == 0
        assert len(capsys.readouterr().out.splitlines()) > 3
    elif words[0] == "new" and "MOULD.stl" in words:
        monkeypatch.chdir(tmp_path)
        write_dish(tmp_path / "MOULD.stl")
        assert main(words) == 0
        assert (tmp_path / words[words.index("--out") + 1] / "job.json").is_file()


def test_the_way_from_stl_runs_as_written_and_so_do_the_pieces_on_top(tmp_path, monkeypatch):
    """In the order of the page, with the tests' dish for both moulds; then cutting proposals."""
    monkeypatch.chdir(tmp_path)
    write_dish(tmp_path / "tray.stl")
    write_dish(tmp_path / "pod.stl", mm=25.4)
    guide = ROOT / "addon/guide"

    for page in ("from_stl.md", "on_top.md", "darts.md"):
        for line in commands(guide / page):
            if line.startswith(TOOL):
                assert main(shlex.split(line)[1:]) == 0, line
            for job in tmp_path.glob("*/job.json"):  # the search ends by time: not half a minute
                text = job.read_text(encoding="utf-8")
                job.write_text(re.sub(r'"seconds": [\d.]+', '"seconds": 0.2', text), "utf-8")

    for written in ("tray_cut/patterns.dxf", "tray_cut.html", "tray_job/cut/roll.dxf"):
        assert (tmp_path / written).stat().st_size > 1000


def write_dish(file: Path, mm: float = 1.0) -> None:
    """Write the tests' dish as an ASCII STL, in units of so many mm."""
    from sample_jobs import dish

    mould = dish()[0]
    rows = ["solid dish"]
    for corners in mould.vertices[mould.faces] / mm:
        points = "".join(f"vertex {x:.6f} {y:.6f} {z:.6f}\n" for x, y, z in corners)
        rows.append(f"facet normal 0 0 0\nouter loop\n{points}endloop\nendfacet")
    file.write_text("\n".join([*rows, "endsolid dish"]))


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_links_and_pictures_are_there(page):
    for target in re.findall(r"\]\(([^)#]+?)(?:#[^)]*)?\)", page.read_text(encoding="utf-8")):
        if not target.startswith("http"):
            assert (page.parent / target).exists(), target


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_buttons_named_in_the_guide_exist(page):
    """Words in italics that start with a capital are labels of the add-on or of Blender."""
    if page.name == "DEVELOPERS.md":
        return
    sources = " ".join(file.read_text(encoding="utf-8") for file in (ROOT / "addon").rglob("*.py"))
    blenders = {"Edit > Preferences > Get Extensions > Install from Disk", "Mark Seam"}
    blenders |= {"Object", "Mesh"}
    for label in re.findall(
        r"(?<![*\w])\*([A-Z][^*\n]+)\*(?!\*)", page.read_text(encoding="utf-8")
    ):
        assert label in blenders or f'"{label}"' in sources, label


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_a_page_is_short(page):
    """The developers' page and the tables of proof are looked things up in: they may be longer."""
    most = 2000 if page.name in ("DEVELOPERS.md", "proof.md") else 1400
    assert len(page.read_text(encoding="utf-8").split()) < most, "nobody reads that"


@pytest.mark.skipif(shutil.which("git") is None, reason="no git here")
def test_pictures_are_small():
    for file in (ROOT / "blend_samples" / "pictures").glob("*.png"):
        assert file.stat().st_size < 400 * 1024, file.name


def rows_of(page: str, heading: str) -> list[list[str]]:
    """Return the cells of the table under a heading, its own heads left out."""
    text = (ROOT / "addon/guide" / page).read_text(encoding="utf-8").split(heading)[1]
    table = re.search(r"(?:^\|.*\n)+", text, re.MULTILINE)[0]
    return [[cell.strip() for cell in row.strip("|\n").split("|")] for row in table.splitlines()][
        2:
    ]


def test_the_figures_of_the_draping_page_are_those_of_the_proof():
    """They are told rounded; the proof is made by a run, the page by hand."""
    proof = rows_of("proof.md", "## Cloth beside generic unwraps")
    told = {row[0]: row[1:] for row in rows_of("draping.md", "**Measured**")}
    unwraps = "Five generic unwraps: worst thread stretch"
    for column, part in enumerate(("hatch cover", "60° cap")):
        ours = [row for row in proof if row[0] == part and row[1] == "draped as cloth"]
        theirs = [row for row in proof if row[0] == part and row[1] != "draped as cloth"]
        assert told["Draped as cloth: worst thread stretch"][column] == f"{ours[0][2]} %"
        assert len(theirs) == 5
        for name, place in ((unwraps, 2), ("Their outline lies off ours by", 4)):
            low, *high = map(float, re.findall(r"[\d.]+", told[name][column]))
            every = [float(row[place]) for row in theirs]
            half = 0.05 if "." in told[name][column] else 0.5  # of the last figure told
            assert abs(min(every) - low) <= half + 1e-9
            assert abs(max(every) - (high or [low])[-1]) <= half + 1e-9
