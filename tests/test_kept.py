"""Patches kept between requests: cut again only where the cut would come out otherwise."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from sample_jobs import dish_job

from flatten import kept
from flatten.kept import KeptPatches
from flatten.serve import lay_some


@pytest.fixture
def counted(monkeypatch):
    """How often something is really cut."""
    cuts = []
    whole = kept.patches_of
    monkeypatch.setattr(kept, "patches_of", lambda *given: cuts.append(1) or whole(*given))
    return cuts


def changed(job, **changes):
    """The job with its first ply changed."""
    return replace(job, plies=(replace(job.plies[0], **changes), *job.plies[1:]))


def test_a_moved_tack_point_cuts_nothing_anew_and_the_answer_is_the_same(counted):
    patches, job = KeptPatches(), dish_job()
    moved = changed(job, tack_mm=np.array([20.0, 10.0, -13.0]))
    lay_some(job, ["p1"], patches=patches)

    again = lay_some(moved, ["p1"], patches=patches)

    assert len(counted) == 1
    fresh = lay_some(moved, ["p1"])
    assert again.facts == fresh.facts
    assert all((again.arrays[name] == array).all() for name, array in fresh.arrays.items())


@pytest.mark.parametrize(
    "other",
    [
        lambda job: changed(job, trim_mm=20.0),
        lambda job: changed(job, faces=job.plies[0].faces[:-4]),
        lambda job: replace(job, settings=replace(job.settings, edge_mm=8.0)),
        lambda job: replace(job, mould=type(job.mould)(1.01 * job.mould.vertices, job.mould.faces)),
        lambda job: replace(
            job,
            settings=replace(
                job.settings, dressing=replace(job.settings.dressing, trim_on_mould=False)
            ),
        ),
    ],
)
def test_what_changes_the_patch_cuts_it_anew(other, counted):
    patches, job = KeptPatches(), dish_job()
    lay_some(job, ["p1"], patches=patches)

    answer = lay_some(other(job), ["p1"], patches=patches)

    assert len(counted) == 2
    assert answer.facts == lay_some(other(job), ["p1"]).facts


@pytest.mark.parametrize(
    ("again", "times"),
    [
        (lambda job, ply, cloth, mould: (job, ply, replace(cloth, lap_mm=11.0), mould), 2),
        (lambda job, ply, cloth, mould: (replace(job, seams=[[0, 1]]), ply, cloth, mould), 2),
        (lambda job, ply, cloth, mould: (job, replace(ply, use_seams=False), cloth, mould), 2),
        (lambda job, ply, cloth, mould: (job, ply, cloth, raised(mould)), 2),
        (lambda job, ply, cloth, mould: (job, replace(ply, angle_deg=30.0), cloth, mould), 1),
        (lambda job, ply, cloth, mould: (job, replace(ply, method="least_shear"), cloth, mould), 1),
    ],
)
def test_what_patches_depend_on_is_known(again, times):
    """Laps of seams are the cloth's; upper plies lie on the lower ones, not on the mould."""
    asked, job = [], dish_job()
    patches = KeptPatches(lambda *given: asked.append(given) or [of_faces(5)])
    first = (job, job.plies[0], job.fabrics[0], job.mould)

    patches(*first)
    patches(*again(*first))

    assert len(asked) == times


def raised(mould):
    return type(mould)(mould.vertices + [0, 0, 0.3], mould.faces)


def of_faces(count):
    return SimpleNamespace(surface=SimpleNamespace(faces=range(count)))


def test_of_large_patches_fewer_are_kept(monkeypatch):
    """10 faces may stay: two plies of 5, or the last one of more."""
    monkeypatch.setattr(kept, "MOST_FACES", 10)
    for faces, times in ((5, 2), (6, 3), (50, 3)):
        asked, job = [], dish_job()
        patches = KeptPatches(lambda *given, n=faces, to=asked: to.append(given) or [of_faces(n)])
        for ply in (*job.plies, job.plies[1], job.plies[0]):
            patches(
                job, replace(ply, trim_mm=10.0 * len(ply.id + ply.name)), job.fabrics[0], job.mould
            )
        assert len(asked) == times


def test_only_the_last_few_are_kept(counted, monkeypatch):
    monkeypatch.setattr(kept, "MOST_PLIES", 2)
    patches, job = KeptPatches(), dish_job()
    trims = [changed(job, trim_mm=trim) for trim in (15.0, 20.0, 25.0)]
    for one in (trims[0], trims[1], trims[0], trims[2]):
        lay_some(one, ["p1"], patches=patches)
    assert len(counted) == 3

    lay_some(trims[0], ["p1"], patches=patches)
    assert len(counted) == 3
    lay_some(trims[1], ["p1"], patches=patches)
    assert len(counted) == 4
