"""Our buttons as a menu of the 3D view: for the keyboard, and for F3, which searches menus only.

Under Object, and under Mesh in edit mode. Buttons of one row of a list stay with their row.
"""

import bpy

from .parts import say

# Menus in bench order: an operator, what of its options is meant, and its text where that differs.
MOULD = [
    ("import_mould", {}, ""),
    ("check_mould", {}, ""),
    ("new_mould_part", {}, ""),
    ("pull_from_view", {}, ""),
    ("rescale", {}, ""),
]
CLOTH = [
    ("add_cloth", {}, ""),
    ("duplicate_cloth", {}, ""),
    ("keep_cloth", {}, ""),
    ("remove_cloth", {}, ""),
    ("add_roll", {}, ""),
    ("add_offcut", {}, ""),
    ("import_cloths", {}, ""),
    ("export_cloths", {}, ""),
]
PLIES = [
    ("new_ply", {}, ""),
    ("copy_ply", {}, ""),
    ("move_ply", {"by": "UP"}, "Move Ply Up"),
    ("move_ply", {"by": "DOWN"}, "Move Ply Down"),
    ("remove_ply", {}, ""),
    ("add_rosette", {}, ""),
    ("place_tack", {}, ""),
    ("seek_tack", {}, ""),
    ("clear_tack", {}, ""),
]
FACES = [
    ("paint_faces", {}, ""),
    ("select_ply", {}, ""),
    ("change_faces", {"how": "SET"}, "Set Faces"),
    ("change_faces", {"how": "ADD"}, "Add Faces"),
    ("change_faces", {"how": "TAKE"}, "Take Faces Out"),
    ("grow_faces", {"by": 1}, ""),
    ("grow_faces", {"by": -1}, "Shrink Faces"),
    ("fill_faces", {}, ""),
]
CUTS = [
    ("draw_cut", {}, ""),
    ("propose_cuts", {}, ""),
    ("accept_cuts", {}, ""),
    ("refuse_cuts", {}, ""),
    ("stagger_cut", {}, ""),
]
PATTERNS = [
    ("flatten", {"which": "ALL"}, "Flatten All"),
    ("flatten", {"which": "ACTIVE"}, "Flatten This Ply"),
    ("add_extra", {"kind": "cover"}, "Add Cover"),
    ("add_extra", {"kind": "core"}, "Add Core"),
    ("add_extra", {"kind": "corner_tape"}, "Add Corner Tapes"),
    ("remove_extra", {}, ""),
    ("move_extra", {"by": "UP"}, "Move Up"),
    ("move_extra", {"by": "DOWN"}, "Move Down"),
    ("show_finding", {}, ""),
    ("hide_finding", {}, ""),
]
FILES = [
    ("nest", {}, ""),
    ("show_roll", {}, ""),
    ("leave_roll", {}, ""),
    ("book_nest", {}, ""),
    ("export", {}, ""),
    ("test_sheet", {}, ""),
    ("add_coat", {}, ""),
]


class Rows:
    """Draws the rows of a menu: each asks first where its button does."""

    rows = ()

    def draw(self, context):
        """Draw a button for each row."""
        layout = self.layout
        layout.operator_context = "INVOKE_REGION_WIN"
        for name, options, text in self.rows:
            words = {"text": say(text), "translate": False} if text else {}
            button = layout.operator(".".join(("mouldply", name)), **words)
            for option, value in options.items():
                setattr(button, option, value)


class MOULDPLY_MT_mould(Rows, bpy.types.Menu):
    """The mould."""

    bl_label = "Mould"
    rows = MOULD


class MOULDPLY_MT_cloth(Rows, bpy.types.Menu):
    """Cloth and stock."""

    bl_label = "Cloth and Stock"
    rows = CLOTH


class MOULDPLY_MT_plies(Rows, bpy.types.Menu):
    """The plies."""

    bl_label = "Plies"
    rows = PLIES


class MOULDPLY_MT_faces(Rows, bpy.types.Menu):
    """The selected ply's faces."""

    bl_label = "Faces"
    rows = FACES


class MOULDPLY_MT_cuts(Rows, bpy.types.Menu):
    """Cuts."""

    bl_label = "Cuts and Proposals"
    rows = CUTS


class MOULDPLY_MT_patterns(Rows, bpy.types.Menu):
    """Patterns and findings."""

    bl_label = "Patterns"
    rows = PATTERNS


class MOULDPLY_MT_files(Rows, bpy.types.Menu):
    """Roll and files."""

    bl_label = "Roll and Files"
    rows = FILES


PARTS = (
    MOULDPLY_MT_mould,
    MOULDPLY_MT_cloth,
    MOULDPLY_MT_plies,
    MOULDPLY_MT_faces,
    MOULDPLY_MT_cuts,
    MOULDPLY_MT_patterns,
    MOULDPLY_MT_files,
)


class MOULDPLY_MT_bench(bpy.types.Menu):
    """All of them."""

    bl_label = "mouldply"

    def draw(self, context):
        """Draw a menu for each part of the bench."""
        for part in PARTS:
            self.layout.menu(part.__name__)


def draw_in_menu(menu, context):
    """Offer ours at the end of one of Blender's menus."""
    menu.layout.separator()
    menu.layout.menu("MOULDPLY_MT_bench")


HOSTS = ["VIEW3D_MT_object", "VIEW3D_MT_edit_mesh"]
CLASSES = (*PARTS, MOULDPLY_MT_bench)
