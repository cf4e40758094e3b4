"""What the lay-up sheet and the summary say of the mould, beside the checks' own numbers."""

import json
from dataclasses import replace

import numpy as np
import pytest
from sample_jobs import dish_job

from flatten.export.sheet import layup_pdf
from flatten.facts import layup_sheet
from flatten.job import Settings
from flatten.laminate.settings import Coat, LaminateSettings, Rates
from flatten.mould.check import check_mould
from flatten.mould.corners import CornerSpot
from flatten.mould.settings import MouldSettings
from flatten.mould_facts import MOST_CORNERS, mould_check, stipple_lines
from flatten.nest.settings import NestSettings
from flatten.run import run
from flatten.summary import summary
from flatten.surface.mesh import MouldMesh


@pytest.fixture(scope="module")
def priced():
    """A dish with coats, prices and a kit of two hands."""
    settings = Settings(
        laminate=LaminateSettings(
            coats=(Coat(kind="gel"),), rates=Rates(currency="EUR", resin_per_kg=30.0)
        ),
        nest=NestSettings(mirrored_kits=1, seconds=0.0),
    )
    job = dish_job(settings=settings)
    return job, run(job)


def gutter_of_two_planes():
    """A floor and a wall 100 mm long that meet at a right angle; the wall stands upright."""
    vertices = np.array(
        [[0, 0, 0], [50, 0, 0], [50, 100, 0], [0, 100, 0], [0, 0, 40], [0, 100, 40]], float
    )
    return MouldMesh(vertices, [[0, 1, 2], [0, 2, 3], [0, 3, 5], [0, 5, 4]])


def test_the_facts_are_the_checks_numbers():
    settings = MouldSettings(pull=(0, 0, 1), trim_mm=0)
    report = check_mould(gutter_of_two_planes(), settings)

    check = mould_check(report)
    facts = dict(check.facts)

    assert facts["size"] == "50 x 100 x 40 mm"
    assert facts["pull"] == "+z"
    assert facts["draft"] == "0° at least; 44 % of the lay-up under 5°"  # 4000 of 9000 mm2
    assert facts["inside corners"].startswith("1 place too tight, 100 mm in all")
    assert facts["inside corners"].endswith("a fillet of R 3 in the mould would cure it")
    assert "flange" not in facts
    assert np.allclose(np.sort(check.draft_deg), [0, 0, 90, 90])
    assert [number for number, _ in check.spots] == ["1"]


def test_nothing_to_say_where_no_lay_up_was_checked():
    report = check_mould(MouldMesh(np.zeros((0, 3)), np.zeros((0, 3), int)), MouldSettings())

    assert mould_check(report) is None


def test_the_smallest_corners_of_a_long_list_are_summed_up():
    spot = CornerSpot(
        number=1, sharp=True, middle_mm=(-0.2, 1.0, 2.0), length_mm=10.0, turn_deg=90.0,
        radius_mm=0.0, gap_mm=1.24, resin_g=0.5, fillet_mm=3.0, faces=(0,),
    )  # fmt: skip
    spots = tuple(replace(spot, number=n + 1) for n in range(MOST_CORNERS + 3))

    lines = stipple_lines(spots)

    assert len(lines) == MOST_CORNERS + 1
    assert lines[0].startswith("1  sharp corner, 10 mm long, near x 0, y 1, z 2 mm")
    assert lines[-1] == "and 3 smaller ones, 30 mm in all, 1.5 g of resin"


def test_the_mould_is_checked_with_what_plies_and_resin_say(priced):
    job, result = priced
    used = result.mould.settings

    assert used.laminate_mm == pytest.approx(result.quantities.thickness_mm, rel=0.05)
    assert used.trim_mm == job.settings.dressing.trim_mm
    assert used.resin_density_g_cm3 == job.settings.laminate.resin_density_g_cm3


def test_coats_prices_and_kits_are_on_the_sheet(priced):
    job, result = priced
    sheet = layup_sheet(result, job)

    assert [coat.kind for coat in sheet.coats] == ["gel coat"]
    grams = sum(pot.resin_g + pot.hardener_g for pot in sheet.coats[0].pots)
    assert grams == pytest.approx(result.quantities.coats[0].to_weigh_g, abs=0.05)
    assert sheet.parts == 2
    assert any(line.startswith("Cost ") and "EUR" in line for line in sheet.estimate)
    assert any(line.startswith("Without a price: cloth") for line in sheet.estimate)
    assert sheet.cautions == result.quantities.cautions
    assert layup_pdf(sheet, job.settings.paper).startswith(b"%PDF")


def test_the_summary_carries_the_mould_and_the_laminate_code(priced):
    job, result = priced
    facts = summary(result, job)

    json.dumps(facts, allow_nan=False)  # walls without a limit are no numbers in JSON
    assert facts["laminate_code"] == layup_sheet(result, job).code
    assert facts["mould"]["size_mm"] == pytest.approx(np.ptp(job.mould.vertices, axis=0).tolist())
    assert facts["mould"]["thinnest_wall_mm"] is None
    assert len(facts["mould"]["builds"]) == len(result.mould.builds)
