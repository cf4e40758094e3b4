"""The cloth library: the supplied cloths and the person's own, in Blender's user folder."""

from __future__ import annotations

from pathlib import Path

from . import engine

OWN_FILE = "cloths.json"


def own_folder(*, create: bool = False) -> Path | None:
    """Return the folder of the person's own cloths, None where there is none yet."""
    import bpy

    if engine.INSTALLED:
        folder = Path(bpy.utils.extension_path_user(__package__, path="cloth", create=create))
    else:  # a checkout has no extension folder
        folder = Path(bpy.utils.user_resource("CONFIG", path="mouldply/cloth", create=create))
    return folder if folder.is_dir() else None


def all_cloths():
    """Return id -> Fabric, the person's own in place of supplied ones of the same id."""
    return engine.load("cloth.library").load_fabrics(own_folder())


def own_cloths():
    """Return the person's own cloths."""
    folder = own_folder()
    if folder is None or not (folder / OWN_FILE).is_file():
        return []
    return engine.load("cloth.library").read_fabrics(folder / OWN_FILE)


def keep_own(cloths) -> Path:
    """Write these as the person's own cloths; return the file."""
    folder = own_folder(create=True)
    engine.load("cloth.library").write_fabrics(folder / OWN_FILE, list(cloths))
    return folder / OWN_FILE
