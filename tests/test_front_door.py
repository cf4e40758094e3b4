"""What a newcomer meets first: the page of a result, the bug report, the Tab key.

Longer than most files: page, report and Tab key share one folder of results.
"""

import base64
import html
import json
import re
import shutil
import subprocess
import zipfile
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
import trimesh
from sample_jobs import dish_job

from flatten.__main__ import main
from flatten.commands import mould_view, page, page_arrays, report, thinned
from flatten.errors import InputError
from flatten.folder import read_index
from flatten.job import load_job, save_job
from flatten.surface.mesh import MouldMesh

CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser"))), None)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A job folder that was run, its results in `cut`."""
    home = tmp_path_factory.mktemp("front door") / "job"
    save_job(dish_job(part="Dish <script>alert(1)</script>"), home)
    assert main(["run", str(home)]) == 0
    return home


def test_the_page_is_one_file_that_loads_nothing(folder):
    assert main(["show", str(folder), "--out", str(folder / "it.html")]) == 0
    text = (folder / "it.html").read_text(encoding="utf-8")

    assert "default-src 'none'" in text
    links = re.findall(r"""(?:src|href)\s*=\s*["']?([^"'>\s]+)""", text)
    assert links
    assert all(link.startswith("data:image/svg+xml;base64,") for link in links)
    assert "http" not in re.sub(r"base64,[A-Za-z0-9+/=]+|http-equiv", "", text)


def test_a_name_that_is_a_script_stays_text(folder):
    text = page.page(folder / "cut")

    assert "<script>alert" not in text
    assert "Dish &lt;script&gt;" in text


def test_the_page_tells_every_ply_and_every_finding(folder):
    text, facts = page.page(folder / "cut"), read_index(folder / "cut")

    for ply in facts["plies"]:
        assert f"<td>{ply['number']} {ply['name']}</td>" in text
    assert text.count("<li class=") == len(facts["findings"])
    for name, words in facts["mould"]["in_words"]:
        assert f"<dt>{name}</dt><dd>{html.escape(words)}</dd>" in text
    assert text.count('class="where"') == sum(bool(one["faces"]) for one in facts["findings"]) > 0
    assert f"{facts['totals']['resin_to_weigh_g']:.0f} g" in text
    assert f"{facts['totals']['estimate']['minutes'] / 60:.1f} h" in text


def test_a_drawing_keeps_its_lines_visible_and_the_file_stays_as_it_was(folder):
    text, names = page.page(folder / "cut"), ("patterns.svg", "roll.svg")
    drawings = re.findall(r'class="drawing"[^>]*base64,([^"]+)"', text)

    assert text.count('class="larger"') == len(drawings) == len(names)
    for data, name in zip(drawings, names, strict=True):
        shown, written = base64.b64decode(data), (folder / "cut" / name).read_bytes()
        assert ElementTree.fromstring(shown).tag == "{http://www.w3.org/2000/svg}svg"
        assert shown.count(b"non-scaling-stroke") == 1
        assert shown.replace(page.FOR_SCREEN, b"") == written


def test_a_folder_without_results_is_refused(tmp_path):
    with pytest.raises(InputError, match="holds no results"):
        page.results_in(tmp_path)


def numbers(column):
    """Read a column of the page as its script does."""
    steps = np.frombuffer(base64.b64decode(column["data"]), "<u2")
    return column["low"] + steps.reshape(-1, len(column["low"])) * column["step"]


def test_a_thinned_drape_keeps_its_place_its_rim_and_its_numbers():
    """A sheet of 20 000 triangles whose shear rises evenly along x; areas and values are known."""
    n = 101
    x, y = np.meshgrid(np.linspace(0, 500, n), np.linspace(0, 300, n), indexing="ij")
    z = 20 * np.sin(x / 80)
    number = np.arange(n * n).reshape(n, n)
    a, b, c, d = (
        q.ravel() for q in (number[:-1, :-1], number[1:, :-1], number[1:, 1:], number[:-1, 1:])
    )
    faces = np.vstack([np.column_stack([a, b, c]), np.column_stack([a, c, d])])
    vertices = np.column_stack([x.ravel(), y.ravel(), z.ravel()])
    middle = vertices[faces].mean(axis=1)
    strain = np.column_stack([0 * middle[:, 0], 0 * middle[:, 0], np.radians(middle[:, 0] / 50)])
    arrays = {
        "vertices": vertices, "faces": faces, "flat": vertices[:, :2], "strain": strain,
        "inside": np.ones(len(faces), bool), "source_faces": np.arange(len(faces)),
    }  # fmt: skip
    right = np.flatnonzero(middle[:, 0] > 400)

    made = thinned.thinned_piece(arrays, [right, np.array([], int)])

    few = np.frombuffer(base64.b64decode(made["faces"]), "<u2").reshape(-1, 3).astype(int)
    places = numbers(made["vertices"])
    assert len(few) < 1.1 * thinned.MOST_FACES
    assert places.min(axis=0) == pytest.approx(vertices.min(axis=0), abs=0.6)  # the rim stays
    assert places.max(axis=0) == pytest.approx(vertices.max(axis=0), abs=0.6)
    assert np.abs(places[:, 2] - 20 * np.sin(places[:, 0] / 80)).max() < 0.05  # on the surface
    assert np.abs(numbers(made["flat"]) - places[:, :2]).max() < 0.02  # 65535 steps of 500 mm
    area = MouldMesh(places, few).areas.sum()
    assert area == pytest.approx(MouldMesh(vertices, faces).areas.sum(), rel=0.01)
    shear = numbers(made["maps"]["shear"])[:, 0]
    assert shear == pytest.approx(places[few].mean(axis=1)[:, 0] / 50, abs=0.3)
    lit, nothing = made["lit"]
    assert nothing == []
    assert places[few[lit]][..., 0].min() > 395  # a drawn face there may reach out by its own size
    assert MouldMesh(places, few[lit]).areas.sum() == pytest.approx(area / 5, rel=0.1)
    assert made["most"]["shear"] == pytest.approx(np.degrees(strain[:, 2].max()))


def test_the_mould_in_the_page_is_whole_and_knows_what_lies_where():
    """A box 200 x 100 x 50 as an STL has it, twelve faces of their own: every side has its area."""
    box = trimesh.creation.box((200, 100, 50))
    alone = box.vertices[box.faces].reshape(-1, 3)  # not welded
    each = np.arange(36).reshape(12, 3)
    up = np.flatnonzero(MouldMesh(alone, each).normals[:, 2] > 0.5)
    down = np.flatnonzero(MouldMesh(alone, each).normals[:, 2] < -0.5)

    made = mould_view.thinned_mould(alone, each, [up], [up, down, np.array([], int)])

    few = np.frombuffer(base64.b64decode(made["faces"]), "<u2").reshape(-1, 3).astype(int)
    drawn = MouldMesh(numbers(made["vertices"]), few)
    longest = np.linalg.norm(drawn.corners - np.roll(drawn.corners, 1, axis=1), axis=2).max()
    assert longest <= mould_view.LONGEST * np.linalg.norm([200, 100, 50]) + 0.01
    assert drawn.areas.sum() == pytest.approx(2 * (20000 + 10000 + 5000), rel=1e-3)
    assert drawn.areas[: made["bare"]].sum() == pytest.approx(20000 + 2 * 15000, rel=1e-3)
    assert made["over"][0] == list(range(made["bare"], len(few))) == made["lit"][0]
    assert drawn.areas[made["lit"][1]].sum() == pytest.approx(20000, rel=1e-3)
    assert made["lit"][2] == []


def test_no_bare_mould_shows_through_cloth_whose_needles_were_triangulated_anew():
    """Of the two triangles of a box's top the piece names one; its ply covers both."""
    box = trimesh.creation.box((200, 100, 50))
    up = np.flatnonzero(box.face_normals[:, 2] > 0.5)
    arrays = {
        ":mould/vertices": box.vertices, ":mould/faces": box.faces, "p1/region": up,
        "p1/source_faces": up[[0, 0]], "p1/inside": np.ones(2, bool),
    }  # fmt: skip
    facts = {"pieces": [{"id": "p1", "ply_id": "p1"}]}

    made = page_arrays.mould_of(facts, [], arrays)

    few = np.frombuffer(base64.b64decode(made["faces"]), "<u2").reshape(-1, 3).astype(int)
    drawn = MouldMesh(numbers(made["vertices"]), few)
    assert drawn.areas[made["over"][0]].sum() == pytest.approx(20000, rel=1e-3)
    assert drawn.normals[: made["bare"], 2].max() < 0.5


def in_browser(text, tmp_path):
    """Return the page's DOM after its scripts ran, opened from the disk."""
    (tmp_path / "it.html").write_text(text, encoding="utf-8")
    ended = subprocess.run(
        [
            CHROMIUM, "--headless", "--no-sandbox", "--disable-gpu", f"--user-data-dir={tmp_path}",
            "--virtual-time-budget=3000", "--dump-dom", f"file://{tmp_path / 'it.html'}",
        ],
        capture_output=True, text=True, timeout=120,
    )  # fmt: skip
    return ended.stdout


@pytest.mark.skipif(CHROMIUM is None, reason="no Chromium here")
def test_a_browser_draws_the_page_from_the_disk(folder, tmp_path):
    dom = in_browser(page.page(folder / "cut"), tmp_path)

    count = len(read_index(folder / "cut")["pieces"])
    assert f'data-drawn="{count}"' in dom  # set last: the script ran to its end
    assert "either way" in dom  # the legend


HANDS = {
    "nothing": "",
    "key": "view.dispatchEvent(new KeyboardEvent('keydown', {key: 'ArrowLeft'}));",
    "wheel": "view.dispatchEvent(new WheelEvent('wheel', {deltaY: -200}));",
    "drag": "for (const [kind, x] of [['pointerdown', 50], ['pointermove', 90]]) "
    "view.dispatchEvent(new PointerEvent(kind, {pointerId: 1, clientX: x, clientY: 50}));",
    "around": "const box = document.getElementById('around'); box.checked = false; "
    "box.dispatchEvent(new Event('change'));",
    "finding": "document.querySelector('.where').click();",
    "map": "const map = document.getElementById('map'); map.value = 'weft'; "
    "map.dispatchEvent(new Event('change'));",
}


# A busy machine may draw no frame within the time given: frames follow at once here.
FRAMES = "<script>window.requestAnimationFrame = (draw) => setTimeout(draw, 0);</script><style>"


@pytest.mark.skipif(CHROMIUM is None, reason="no Chromium here")
@pytest.mark.parametrize("hand", HANDS)
def test_the_drape_is_turned_by_key_wheel_and_drag(hand, folder, tmp_path):
    script = f"""<script>
const view = document.getElementById("view"), before = view.toDataURL();
{HANDS[hand]}
setTimeout(() => {{ document.body.dataset.moved = String(view.toDataURL() !== before); }}, 100);
</script></body>"""
    text = page.page(folder / "cut").replace("</body>", script).replace("<style>", FRAMES, 1)

    dom = in_browser(text, tmp_path)

    assert f'data-moved="{str(hand != "nothing").lower()}"' in dom


@pytest.mark.skipif(CHROMIUM is None, reason="no Chromium here")
def test_a_drawing_is_seen_larger_at_a_press(folder, tmp_path):
    script = """<script>
const drawing = document.querySelector(".drawing"), before = drawing.clientWidth;
document.querySelector(".larger").click();
document.body.dataset.grown = String(drawing.clientWidth > 2 * before);
</script></body>"""

    dom = in_browser(page.page(folder / "cut").replace("</body>", script), tmp_path)

    assert 'data-grown="true"' in dom
    assert 'class="larger" aria-pressed="true"' in dom


def test_the_report_holds_the_job_and_nothing_private(folder, tmp_path, monkeypatch):
    monkeypatch.setattr(report.getpass, "getuser", lambda: "annabel")
    monkeypatch.setattr(report.platform, "node", lambda: "angle")  # also a word of every job
    log = folder / "error.json"
    log.write_text(json.dumps({"message": "'/home/annabel/secret boat/x.stl' of annabel"}))

    assert main(["report", str(folder), "--out", str(tmp_path / "r.zip")]) == 0

    with zipfile.ZipFile(tmp_path / "r.zip") as packed:
        packed.extractall(tmp_path / "r")
        every = b"".join(packed.read(name) for name in packed.namelist() if name.endswith("json"))
    assert load_job(tmp_path / "r" / "job").digest == load_job(folder).digest
    assert {"versions.json", "log/error.json", "log/result.json"} <= set(packed.namelist())
    assert b"x.stl" in every
    for private in (b"annabel", b"secret", str(folder.parent).encode()):
        assert private not in every


@pytest.mark.parametrize(
    ("text", "clean"),
    [
        ("'/home/me/boat/tray.stl' is missing", "'tray.stl' is missing"),
        (r"C:\Users\me\boat\tray.stl", "tray.stl"),
        (r"\\server\share\tray.stl", "tray.stl"),
        ("~/boat/tray.stl:", "tray.stl:"),
        ("There is no file 'my boat/moulds/tray.stl'.", "There is no file 'tray.stl'."),
        ("a ply's pot, 1/2 of 'tray.stl'", "a ply's pot, 1/2 of 'tray.stl'"),
        ("0.5 g/cm3, 1/2, and/or", "0.5 g/cm3, 1/2, and/or"),
    ],
)
def test_folders_are_cut_down_to_the_file(text, clean):
    assert report.without_private(text) == clean


@pytest.mark.parametrize("name", ["annabel", "Annabel_tray", "tray-ANNABEL", "annabels-desk"])
def test_who_and_where_are_taken_out_of_names_too(name, monkeypatch):
    """A part is named after its file unless told otherwise, and files after their owners."""
    monkeypatch.setattr(report.getpass, "getuser", lambda: "annabel")
    monkeypatch.setattr(report.platform, "node", lambda: "annabels-desk.local")

    clean = report.without_private(f'"part": "{name}", "cloth": "annabelline"')

    assert "annabel" not in clean.replace("annabelline", "").lower()
    assert '"cloth": "annabelline"' in clean


def completed(tmp_path, *words):
    """Return what bash offers for these words."""
    script = f"""
source {tmp_path / "mouldply.bash"}
COMP_WORDS=({" ".join(f"'{word}'" for word in words)}); COMP_CWORD={len(words) - 1}
_mouldply; printf '%s\\n' "${{COMPREPLY[@]}}"
"""
    ended = subprocess.run(["bash", "-c", script], capture_output=True, text=True, cwd=tmp_path)
    assert ended.returncode == 0, ended.stderr
    return ended.stdout.split()


@pytest.mark.skipif(shutil.which("bash") is None, reason="no bash here")
def test_bash_completes_commands_options_and_cloth(tmp_path, capsys):
    main(["completion", "bash"])
    (tmp_path / "mouldply.bash").write_text(capsys.readouterr().out)
    (tmp_path / "tray.stl").touch()

    assert completed(tmp_path, "mouldply", "ch") == ["check"]
    assert completed(tmp_path, "mouldply", "run", "--o") == ["--out"]
    assert "carbon_twill_210" in completed(tmp_path, "mouldply", "new", "--cloth", "carbon_tw")
    assert completed(tmp_path, "mouldply", "new", "tr") == ["tray.stl"]
    assert completed(tmp_path, "mouldply", "completion", "f") == ["fish"]


@pytest.mark.parametrize("shell", ["zsh", "fish"])
def test_other_shells_get_every_command_and_can_read_the_script(shell, tmp_path, capsys):
    main(["completion", shell])
    script = capsys.readouterr().out

    for name in ("run", "check", "new", "cloths", "show", "report", "completion"):
        assert re.search(rf"\b{name}\b", script)
    assert "SUPPRESS" not in script
    if shutil.which(shell):
        (tmp_path / "script").write_text(script)
        assert subprocess.run([shell, "-n", str(tmp_path / "script")]).returncode == 0


def test_no_colours_and_no_bar_when_piped(folder, capsys):
    main(["check", str(folder)])

    told = capsys.readouterr()
    assert "\x1b" not in told.out + told.err


def test_every_command_has_help_that_says_more_than_its_name():
    from flatten.__main__ import _parser

    commands = next(a for a in _parser()._actions if hasattr(a, "choices") and a.choices)
    for name in commands.choices:
        assert len(commands.choices[name].format_help().split()) > 15, name
    assert Path(page.__file__).with_name("page.js").is_file()
