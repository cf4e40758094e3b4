""".blend files for the command line: the same job as in Blender, and nothing else let in."""

import bpy
import pytest

import addon
from addon import blend_reader, engine

from .making import activate, grid, job_of, ply_on

InputError = engine.load("errors").InputError


@pytest.fixture
def read():
    """The reader registers the add-on itself: give it back as it was."""
    addon.unregister()
    yield blend_reader.read_here
    addon.register()


@pytest.fixture
def saved(tmp_path):
    def save(name="mould.blend", **options):
        file = tmp_path / name
        bpy.ops.wm.save_as_mainfile(filepath=str(file), **options)
        return file

    return save


@pytest.mark.parametrize("compress", [False, True])
def test_the_job_of_a_file_is_the_job_in_blender(saved, request, compress):
    mould = ply_on(grid(size=0.2, height=0.02), angle_deg=45.0).id_data
    mould.scale = (1, -1, 1)
    bpy.context.view_layer.update()
    wanted = job_of(mould)
    file = saved(compress=compress)

    assert request.getfixturevalue("read")(file) == wanted


def test_of_two_moulds_the_active_one_is_meant(saved, request):
    ply_on(grid("left"))
    ply_on(grid("right"))
    activate(bpy.data.objects["left"])
    file = saved()
    bpy.context.view_layer.objects.active = None
    none_active = saved("none.blend")
    read = request.getfixturevalue("read")

    assert read(file).part == "left"
    with pytest.raises(InputError, match="2 moulds: left, right"):
        read(none_active)


def test_files_that_cannot_be_read_are_refused(saved, request, tmp_path):
    grid("no ply")
    file = saved()
    read = request.getfixturevalue("read")
    with pytest.raises(InputError, match="has no mould"):
        read(file)
    with pytest.raises(InputError, match="cannot be read"):
        read(tmp_path / "gone.blend")
    (tmp_path / "text.blend").write_text("hello")
    with pytest.raises(InputError, match=r"not a \.blend file"):
        read(tmp_path / "text.blend")


def test_a_file_of_a_newer_blender_is_refused_or_read_but_never_half(saved, request):
    """A header that claims version 9.99: Blender itself says it cannot."""
    ply_on(grid(size=0.2))
    file = saved(compress=False)
    data = bytearray(file.read_bytes())
    at = 9 if data[7:8] in (b"-", b"_") else 13
    assert data[at : at + 3].isdigit() or data[at : at + 4].isdigit()
    width = 3 if data[7:8] in (b"-", b"_") else 4
    data[at : at + width] = b"999" if width == 3 else b"0999"
    file.write_bytes(data)
    read = request.getfixturevalue("read")
    with pytest.raises(InputError, match="newer"):
        read(file)


def test_a_mould_of_a_newer_mouldply_is_refused(saved, request):
    mould = ply_on(grid(size=0.2)).id_data
    mould.mouldply.format = 99
    file = saved()
    read = request.getfixturevalue("read")
    with pytest.raises(InputError, match="saved by a newer mouldply"):
        read(file)


def test_scripts_of_the_file_do_not_run(saved, request, tmp_path):
    ply_on(grid(size=0.2))
    mark = tmp_path / "ran"
    text = bpy.data.texts.new("start.py")
    text.write(f"open({str(mark)!r}, 'w')")
    text.use_module = True
    file = saved()
    request.getfixturevalue("read")(file)

    assert not mark.exists()
