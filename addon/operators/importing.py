"""Import help: the file's unit, a sensible place, welded, sharp edges marked."""

from contextlib import contextmanager
from pathlib import Path

import bpy

from .. import bridge, engine, looking, mesh_data
from ..moulds import need_mould
from ..props import CONTEXT, BoolProperty, EnumProperty, FloatProperty, StringProperty
from ..settling import settle_mesh
from .base import EngineOperator, NeedsMould

UNITS_MM = {"MM": 1.0, "CM": 10.0, "M": 1000.0, "IN": 25.4}
READERS = {".stl": "stl_import", ".obj": "obj_import", ".ply": "ply_import"}
WELD_SHARE = 1e-6  # of the size: doubles of an STL are equal to the last digit
# Blender's importers turn OBJ's Y up into Z up by themselves; STL and PLY come as they are.


class MOULDPLY_OT_import_mould(EngineOperator, bpy.types.Operator):
    """Import a mould from STL, OBJ, PLY or 3MF at its true size, ready for plies"""

    bl_idname = "mouldply.import_mould"
    bl_label = "Import Mould"
    bl_options = {"REGISTER", "UNDO"}

    filepath: StringProperty(name="File", description="Of the mould", subtype="FILE_PATH")
    filter_glob: StringProperty(default="*.stl;*.obj;*.ply;*.3mf", options={"HIDDEN"})
    unit: EnumProperty(
        name="File Is In",
        description="Unit of the numbers in the file; most CAD writes mm",
        items=[("MM", "Millimetres", ""), ("CM", "Centimetres", ""), ("M", "Metres", ""),
               ("IN", "Inches", "")],
    )  # fmt: skip
    set_units: BoolProperty(
        name="Scene in Millimetres", description="Show lengths in mm from now on", default=True
    )
    recentre: BoolProperty(
        name="To the Middle", description="Stand the mould on the grid, in its middle", default=True
    )
    sharp: FloatProperty(
        name="Sharp From", description="Edges whose faces turn by more than this are marked sharp",
        default=0.5236, min=0, max=3.1416, subtype="ANGLE",
    )  # fmt: skip

    def invoke(self, context, event):
        """Ask for the file."""
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    def run(self, context):
        """Read, scale, place, weld, mark."""
        file = Path(bpy.path.abspath(self.filepath))
        if not file.is_file():
            raise engine.load("errors").InputError(
                f"There is no file '{file}'.", "Choose the mould's file."
            )
        if self.set_units:
            units = context.scene.unit_settings
            units.system, units.length_unit = "METRIC", "MILLIMETERS"
        with _waiting(context):
            mould = _read(file)
            factor = UNITS_MM[self.unit] / bridge.mm_per_unit(context.scene)
            settle_mesh(mould, factor, recentre=self.recentre, weld_share=WELD_SHARE)
            mesh_data.mark_sharp(mould.data, self.sharp)
        _set_clipping(context, mould)
        context.view_layer.update()
        x, y, z = (bridge.mm_per_unit(context.scene) * side for side in mould.dimensions)
        self.tell(
            f"'{mould.name}': {len(mould.data.polygons)} faces, {x:.0f} x {y:.0f} x {z:.0f} mm"
        )


class MOULDPLY_OT_rescale(NeedsMould, EngineOperator, bpy.types.Operator):
    """Scale the mould because its file was in another unit; plies stay on it"""

    bl_idname = "mouldply.rescale"
    bl_label = "The File Was in Another Unit"
    bl_options = {"REGISTER", "UNDO"}

    factor: FloatProperty(
        name="Factor",
        description="New size over old size",
        default=0.001,
        min=1e-6,
        max=1e6,
        precision=6,
    )

    def run(self, context):
        """Scale mesh and tack points."""
        mould = need_mould(context)
        settle_mesh(mould, self.factor, recentre=False, weld_share=0)
        for ply in mould.mouldply.plies:
            ply.tack = [self.factor * value for value in ply.tack]


@contextmanager
def _waiting(context):
    """Show the waiting cursor: Blender reads a file of a million triangles in some seconds."""
    window = None if bpy.app.background else context.window
    if window is not None:
        window.cursor_modal_set("WAIT")
    try:
        yield
    finally:
        if window is not None:
            window.cursor_modal_restore()


def _read(file):
    """Run Blender's importer, or our reader for 3MF; return the one mesh object made of it."""
    error, suffix = engine.load("errors").InputError, file.suffix.lower()
    before = set(bpy.data.objects)
    if suffix == ".3mf":
        from ..threemf import read_3mf

        vertices, triangles = read_3mf(file)
        mesh = bpy.data.meshes.new(file.stem)
        mesh.vertices.add(len(vertices))
        mesh.vertices.foreach_set("co", vertices.astype("f").ravel())
        mesh_data.write_triangles(mesh, triangles)
        made = [bpy.data.objects.new(file.stem, mesh)]
        bpy.context.collection.objects.link(made[0])
    elif suffix in READERS:
        try:
            getattr(bpy.ops.wm, READERS[suffix])(filepath=str(file))
        except RuntimeError as refused:
            reason = str(refused).strip().splitlines()[-1]
            raise error(f"'{file.name}' cannot be read: {reason}", "Export it again.") from refused
        made = [thing for thing in bpy.data.objects if thing not in before and thing.type == "MESH"]
    else:
        raise error(f"Files of kind '{suffix}' are no moulds.", "Choose an STL, OBJ, PLY or 3MF.")
    made = [thing for thing in made if len(thing.data.polygons)]
    if not made:
        raise error(f"'{file.name}' holds no faces.", "Export it again as a mesh.")
    _activate(made)
    if len(made) > 1:
        bpy.ops.object.join()
    return bpy.context.view_layer.objects.active


def draw_in_menu(menu, context):
    """Offer the import among Blender's own, under File."""
    text = bpy.app.translations.pgettext_iface("Mould (.stl, .obj, .ply, .3mf)", CONTEXT)
    menu.layout.operator(MOULDPLY_OT_import_mould.bl_idname, text=text, translate=False)


def _activate(things):
    for other in bpy.context.selected_objects:
        other.select_set(False)
    for thing in things:
        thing.select_set(True)
    bpy.context.view_layer.objects.active = things[0]


def _set_clipping(context, mould):
    """Let every 3D view see the whole mould, and show it."""
    if bpy.app.background:
        return
    context.view_layer.update()  # the mesh has just been scaled
    size = max(mould.dimensions)
    for area in context.screen.areas:
        if area.type == "VIEW_3D":
            space = area.spaces.active
            space.clip_start, space.clip_end = size / 1000, max(size * 100, space.clip_end)
            looking.at(area, looking.corners_of([mould]))


CLASSES = (MOULDPLY_OT_import_mould, MOULDPLY_OT_rescale)
