"""The index of a huge job stays below what is read of one: long lists of faces are cut short."""

import json
from dataclasses import replace

import pytest
from sample_jobs import TWILL, dish, dish_job

from flatten import folder, summary
from flatten.commands.page import page
from flatten.deliver import files_of
from flatten.finding import Finding
from flatten.laminate.ply import Ply
from flatten.run import run


@pytest.fixture(scope="module")
def made():
    mould, inside, _ = dish(cells=5)
    job = dish_job(mould=mould, plies=(Ply(id="p1", name="skin", faces=inside, fabric=TWILL),))
    return job, run(job)


def with_findings(result, counts):
    """Return the result with a finding of so many faces each, of the numbers that are longest."""
    faces = tuple(range(9_000_000, 9_000_000 + max(counts)))
    return replace(
        result,
        findings=tuple(
            Finding(code=f"c{n}", severity="note", message="Here.", faces=faces[:count])
            for n, count in enumerate(counts)
        ),
    )


def test_the_findings_of_two_hundred_plies_on_a_huge_mould_fit_the_index(made, tmp_path):
    """Six million faces in lists, 80 MB, were an error after hours of work."""
    job, result = made
    counts = [30_000] * 200
    huge = with_findings(result, counts)
    folder.write_set(tmp_path, {"cut_list.csv": b""}, summary.summary(huge, job))

    told = folder.read_index(tmp_path)["findings"]
    assert [one["face_count"] for one in told] == counts
    assert (tmp_path / folder.INDEX).stat().st_size < folder.MOST_INDEX_BYTES / 2
    for one in told:  # as many of the first as there is room for, the same of each
        assert one["faces"] == list(huge.findings[0].faces[:10_000])


@pytest.mark.parametrize(
    ("counts", "listed"),
    [
        ([], []),
        ([7, 3], [7, 3]),  # all of them, where there is room
        ([50, 40, 10], [50, 40, 10]),
        ([60, 40, 10], [50, 40, 10]),  # the longest alone gives way
        ([900, 10, 0, 800, 30], [30, 10, 0, 30, 30]),
        ([70, 70, 70], [33, 33, 33]),
    ],
)
def test_short_lists_stay_whole_and_the_longer_ones_share(made, counts, listed, monkeypatch):
    job, result = made
    monkeypatch.setattr(summary, "MOST_LISTED", 100)
    told = summary.summary(with_findings(result, counts or [0]), job)["findings"]

    assert [len(one["faces"]) for one in told] == (listed or [0])
    assert [one["face_count"] for one in told] == (counts or [0])


def test_the_page_says_which_lists_are_cut_short(made, tmp_path, monkeypatch):
    job, result = made
    count = len(job.mould.faces)
    findings = tuple(
        Finding(code="c", severity="note", message=words, ply_id="p1", faces=tuple(range(most)))
        for words, most in (("Short.", 5), ("Long.", count))
    )
    monkeypatch.setattr(summary, "MOST_LISTED", 12)
    huge = replace(result, findings=findings)
    folder.write_set(tmp_path, files_of(result, job), summary.summary(huge, job))

    rows = {
        words: row
        for row in page(tmp_path).split("<li")
        for words in ("Short.", "Long.")
        if words in row
    }
    assert f"(the first 7 of {count} faces)" in rows["Long."]
    assert "Show where" in rows["Short."]
    assert "first" not in rows["Short."]

    index = json.loads((tmp_path / folder.INDEX).read_text())
    for one in index["findings"]:  # written before the count was
        del one["face_count"]
    (tmp_path / folder.INDEX).write_text(json.dumps(index))
    assert "the first" not in page(tmp_path)
