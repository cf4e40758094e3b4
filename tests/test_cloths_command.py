"""`mouldply cloths`: the list, and a locking angle from the bench; lengths typed with units."""

import json

import pytest
from sample_jobs import TWILL, dish, dish_job

from flatten.__main__ import main
from flatten.job import JOB_FILE, load_job, save_job
from flatten.surface.stl import stl_bytes


def asked(capsys, *words):
    assert main(["cloths", *words, "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def test_the_library_is_listed_with_id_weight_and_width(capsys):
    assert main(["cloths"]) == 0

    lines = capsys.readouterr().out.splitlines()
    assert len({line.split()[0] for line in lines}) == len(lines) > 30
    (twill,) = [line for line in lines if line.startswith("carbon_twill_210 ")]
    assert " 210 g/m2 " in twill
    assert " mm wide " in twill


def test_a_cloth_of_ones_own_is_laid_listed_and_cut_on_top(tmp_path, capsys):
    """The list as a file, one cloth of it renamed: known to every command that names a cloth."""
    assert main(["cloths", "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    (own,) = [cloth for cloth in data["cloths"] if cloth["id"] == "carbon_twill_210"]
    own |= {"id": "shed_twill", "name": "Twill from the shed", "areal_weight_gsm": 197.0}
    library = tmp_path / "mine.json"
    over = own | {"id": "shed_cover", "name": "Cover from the shed"}
    library.write_text(json.dumps(data | {"cloths": [own, over]}), "utf-8")
    mine = ["--library", str(library)]

    assert main(["cloths", *mine]) == 0
    (line,) = [one for one in capsys.readouterr().out.splitlines() if one.startswith("shed_twill ")]
    assert " 197 g/m2 " in line
    (tmp_path / "dish.stl").write_bytes(stl_bytes(dish()[0]))
    order = ["new", str(tmp_path / "dish.stl"), "--out", str(tmp_path / "made")]
    assert main([*order, "--cloth", "shed_twill", "--cover", "shed_cover", *mine]) == 0
    job = load_job(tmp_path / "made")
    assert {cloth.areal_weight_gsm for cloth in job.fabrics} == {197}
    assert [one.fabric for one in (*job.plies, *job.extras)] == ["shed_twill", "shed_cover"]
    assert main([*order[:-1], str(tmp_path / "not"), "--cloth", "shed_twill"]) == 2
    assert "--library" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("width", "spacing", "lock"),
    # cos(lock) = width / spacing, plane geometry: 0.5, 0.8 and sqrt(1/2), angles any table has
    [("1", "2", 60.0), ("2.0 mm", "2.5", 36.9), ("0.5in", "17.9605 mm", 45.0)],
)
def test_yarns_tell_their_locking_angle(capsys, width, spacing, lock):
    told = asked(capsys, "yarn", "--width", width, "--spacing", spacing)

    assert told == {"shear_lock_deg": lock, "shear_warn_deg": pytest.approx(lock - 10)}


def test_a_pulled_strip_tells_its_locking_angle(capsys):
    """Cao et al. 2008, from memory: shear = 90 - 2 acos((L0 + d) / (sqrt 2 L0)), L0 = L - w.

    With L0 = 100 mm and d = 22.4745 mm the cosine is sqrt(3)/2: 90 - 2 x 30 = 30 degrees.
    """
    mm = asked(capsys, "strip", "--length", "200", "--width", "100", "--extension", "22.4745")
    inch = asked(capsys, "strip", "--length", "8in", "--width", "4in", "--extension", "0.89898 in")

    assert mm == inch == {"shear_lock_deg": 30.0, "shear_warn_deg": 20.0}


def test_cloth_that_hardly_shears_warns_at_half_its_locking_angle(capsys):
    """Ten degrees below would be a warning at nothing. cos(15 degrees) = 0.9659."""
    told = asked(capsys, "yarn", "--width", "0.9659", "--spacing", "1")

    assert told == {"shear_lock_deg": 15.0, "shear_warn_deg": 7.5}


def test_both_angles_go_into_a_job_as_the_text_says(tmp_path, capsys):
    """Printed lines replace the cloth's own in job.json, and the job still reads."""
    main(["cloths", "yarn", "--width", "1", "--spacing", "2"])
    told = capsys.readouterr().out
    lines = [line.strip().rstrip(",") for line in told.splitlines() if line.startswith('  "')]
    values = json.loads("{" + ",".join(lines) + "}")
    save_job(dish_job(), tmp_path / "job")
    file = tmp_path / "job" / JOB_FILE
    data = json.loads(file.read_text("utf-8"))
    assert '"fabrics"' in told
    assert JOB_FILE in told
    data["fabrics"][0] |= values
    file.write_text(json.dumps(data), "utf-8")

    (cloth, *_) = load_job(tmp_path / "job").fabrics

    assert (cloth.id, cloth.shear_lock_deg, cloth.shear_warn_deg) == (TWILL, 60, 50)


@pytest.mark.parametrize(
    ("words", "reason"),
    [
        (["yarn", "--width", "3", "--spacing", "2"], "3.0 mm wide at a spacing of 2.0 mm"),
        (["strip", "--length", "150", "--width", "100", "--extension", "9"], "150.0 mm long and"),
        (["strip", "--length", "200", "--width", "100", "--extension", "60"], "Enter 0 to 41.4 mm"),
        (["strip", "--length", "200", "--width", "100", "--extension", "0"], "as 0 degrees"),
    ],
)
def test_a_measurement_that_cannot_be_is_named_with_the_way_out(capsys, words, reason):
    assert main(["cloths", *words]) == 2
    told = capsys.readouterr()
    assert reason in told.err
    assert not told.out


@pytest.mark.parametrize("typed", ["wide", "1,8", "2 oz/yd2"])
def test_a_length_that_cannot_be_read_is_refused_beside_its_option(capsys, typed):
    with pytest.raises(SystemExit) as left:
        main(["cloths", "yarn", "--width", typed, "--spacing", "2"])

    assert left.value.code == 2
    told = capsys.readouterr().err
    assert "argument --width" in told
    assert f"'{typed}'" in told


def test_roll_widths_and_what_goes_on_top_take_units(tmp_path, capsys):
    """The inch is 25.4 mm: NIST SP 811. A bare number is mm, as in the help."""
    save_job(dish_job(), tmp_path / "job")
    order = ["widths", str(tmp_path / "job"), "--widths", "20in,0.5 m,450", "--json"]
    assert main(order) == 0
    (rows,) = json.loads(capsys.readouterr().out).values()
    assert [row["width_mm"] for row in rows] == pytest.approx([508, 500, 450])

    (tmp_path / "dish.stl").write_bytes(stl_bytes(dish()[0]))
    order = ["new", str(tmp_path / "dish.stl"), "--out", str(tmp_path / "made"), "--at", "0,0,-1in"]
    more = [
        "--cover",
        "peel_ply_85:1 1/2 in",
        "--cover",
        "bag_film_50:30",
        "--tape",
        "peel_ply_85:2in",
    ]
    assert main([*order, *more]) == 0
    extras = load_job(tmp_path / "made").extras
    assert [extra.trim_mm for extra in extras[:2]] == pytest.approx([38.1, 30])
    assert extras[2].width_mm == pytest.approx(50.8)


@pytest.mark.parametrize(
    ("words", "reason"),
    [
        (["--at", "0,0,deep"], "--at is 'deep'"),
        (["--at", "0,0"], "Write three numbers"),
        (["--cover", "peel_ply_85:wide"], "--cover is 'wide'"),
        (["--core", "pvc_foam_80_5mm:1in"], "--core is 'pvc_foam_80_5mm:1in'"),
    ],
)
def test_new_names_the_length_it_cannot_read(tmp_path, capsys, words, reason):
    (tmp_path / "dish.stl").write_bytes(stl_bytes(dish()[0]))

    assert main(["new", str(tmp_path / "dish.stl"), "--out", str(tmp_path / "made"), *words]) == 2
    assert reason in capsys.readouterr().err


def test_a_printer_is_measured_in_either_unit(tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("MOULDPLY_HOME", str(tmp_path))

    assert main(["printer", "set", "loft", "--x", "9.95cm", "--y", "3.93 in"]) == 0

    assert "loft, 99.5 x 99.822 mm" in capsys.readouterr().out
