"""What the .blend keeps of results: on the patterns and their collection, with a digest."""

import bpy

from ..props import (
    BoolProperty,
    CollectionProperty,
    EnumProperty,
    FloatProperty,
    IntProperty,
    PointerProperty,
    StringProperty,
)

SEVERITIES = [
    ("note", "Note", "Good to know"),
    ("warning", "Warning", "Look at it before cutting"),
    ("stop", "Stop", "Files that would be wrong because of it are not written"),
]


class MOULDPLY_Finding(bpy.types.PropertyGroup):
    """One thing found; `faces` are ranges of the job's triangles, "3-17,40"."""

    code: StringProperty()
    severity: EnumProperty(name="Severity", items=SEVERITIES)
    message: StringProperty(name="Finding")
    hint: StringProperty(name="What Helps")
    ply_id: StringProperty()
    faces: StringProperty()


class MOULDPLY_Piece(bpy.types.PropertyGroup):
    """On a pattern's object: what it is and which inputs it was made from."""

    is_pattern: BoolProperty()
    piece_id: StringProperty()
    title: StringProperty(name="Pattern")
    role: StringProperty(default="ply", options={"HIDDEN"})  # a ply's own piece, or an extra
    where: StringProperty()
    stamp: StringProperty(options={"HIDDEN"})  # digest of the inputs
    count: IntProperty(name="Cut", default=1)
    net_area_mm2: FloatProperty()
    cut_area_mm2: FloatProperty()
    max_shear_deg: FloatProperty()
    locked_share: FloatProperty()
    spines: StringProperty(options={"HIDDEN"})  # both threads through the tack point, as JSON


class MOULDPLY_Results(bpy.types.PropertyGroup):
    """On the collection of a mould's patterns."""

    owner: PointerProperty(type=bpy.types.Object)
    findings: CollectionProperty(type=MOULDPLY_Finding)
    active_finding: IntProperty(name="Finding", min=0)
    lit: IntProperty(default=-1, options={"HIDDEN"})  # the finding whose faces are lit
    job_digest: StringProperty(options={"HIDDEN"})  # of the whole job
    nests: StringProperty(options={"HIDDEN"})  # the layouts, as JSON
    quantities: StringProperty(options={"HIDDEN"})  # masses and areas, as JSON
    files: StringProperty(name="Files", description="Folder the files were written to")
    written: StringProperty(options={"HIDDEN"})  # what job and layouts were when they were


CLASSES = (MOULDPLY_Finding, MOULDPLY_Piece, MOULDPLY_Results)
