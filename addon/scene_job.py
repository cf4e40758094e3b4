"""The scene's properties become a Job of the engine: the same for buttons, scripts and files."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from . import bridge, engine, mesh_data
from .curves import read_cuts
from .moulds import need_cloths
from .properties.records import values_of
from .rosettes import default_rosette

if TYPE_CHECKING:
    import bpy

    from .bridge import MouldRead, MouldTaken

FORMAT = 1  # of what a .blend keeps; a higher one was saved by a newer add-on


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Draft:
    """A job as the properties say it, beside the mould's arrays as Blender holds them.

    `values` of the Job, `plies` of each Ply without its faces, `parts` of each MouldPart.
    """

    taken: MouldTaken
    values: dict[str, Any]
    plies: tuple[dict[str, Any], ...]
    parts: tuple[tuple[str, dict[str, Any]], ...]

    def job(self, read: MouldRead | None = None) -> Any:
        """Return the Job; knows no Blender, so that a thread may do it.

        `read` is what was taken, where it has been read already.

        Raises
        ------
        InputError : whatever keeps the mould or a ply from being used
        """
        import numpy as np

        read = read or self.taken.read()
        ply, part = engine.load("laminate.ply").Ply, engine.load("mould.check").MouldPart
        values = {**self.values}
        values["rosette"] = values["rosette"] or default_rosette(read)
        return engine.load("job").Job(
            **values,
            mould=engine.load("surface.mesh").MouldMesh(read.vertices, read.triangles),
            plies=tuple(
                ply(**own, faces=np.flatnonzero(read.regions[own["id"]])) for own in self.plies
            ),
            seams=read.seams,
            polygons=read.polygons,
            parts=tuple(
                part(**own, faces=np.flatnonzero(read.parts[id])) for id, own in self.parts
            ),
        )


def read_job(mould: bpy.types.Object, scene: bpy.types.Scene, depsgraph: Any) -> Any:
    """Return the job of a mould: evaluated mesh in mm, plies, cloth, stock and settings.

    Raises
    ------
    InputError : whatever keeps the mould, a ply, a cloth or a setting from being used
    """
    return draft_job(mould, scene, depsgraph).job()


def draft_job(
    mould: bpy.types.Object, scene: bpy.types.Scene, depsgraph: Any, taken: MouldTaken | None = None
) -> Draft:
    """Return all that Blender knows of a mould's job: quick, whatever its size.

    `taken` is the mould where it has just been taken.

    Raises
    ------
    InputError : a newer file, a ply without faces, a cloth or a setting that cannot be used
    """
    own = mould.mouldply
    need_known(mould)
    taken = taken or bridge.take_mould(mould, scene, depsgraph)
    _refuse_lost_regions(mould, taken)
    plies = tuple(_ply(mould, scene, ply) for ply in own.plies)
    _refuse_bare(plies, taken)
    extras = tuple(_extra(extra) for extra in own.extras)
    used = {ply["fabric"] for ply in plies} | {extra.fabric for extra in extras}
    need_cloths(mould, scene)
    cloths = tuple(read_cloth(cloth) for cloth in scene.mouldply.cloths if cloth.id in used)
    return Draft(
        taken=taken,
        values={
            "part": own.part.strip() or mould.name,
            "rosette": _rosette(own.rosette, scene) if own.rosette else None,
            "fabrics": cloths,
            "stock": _stock(scene, cloths),
            "settings": read_settings(mould, scene),
            "extras": extras,
        },
        plies=plies,
        parts=tuple(
            (part.id, _mould_part(part)) for part in own.parts if taken.parts[part.id].any()
        ),
    )


def need_known(mould: bpy.types.Object) -> None:
    """Refuse a mould with properties of a later format than this one's."""
    if mould.mouldply.format > FORMAT:
        raise engine.load("errors").InputError(
            f"Mould '{mould.name}' was saved by a newer mouldply (format "
            f"{mould.mouldply.format}; this one knows {FORMAT}).",
            "Update mouldply.",
        )


def _extra(extra: Any) -> Any:
    """Return a cover, core or corner tapes."""
    kind = engine.load("laminate.extra").Extra
    return kind(**{**values_of(extra, kind), "id": extra.id, "name": extra.name})


def _mould_part(part: Any) -> dict[str, Any]:
    return {
        "name": part.name,
        "pull": "auto" if part.pull_by == "auto" else tuple(_short(v) for v in part.pull),
    }


def read_settings(mould: bpy.types.Object, scene: bpy.types.Scene) -> Any:
    """Return the engine's Settings from the scene and the mould."""
    kept = scene.mouldply
    laminate = engine.load("laminate.settings")
    dressing = engine.load("pattern.settings").Dressing
    nest = engine.load("nest.settings").NestSettings
    paper = engine.load("export.paper").PaperSettings
    files = engine.load("export.settings").FileSettings
    job = engine.load("job")
    return job.Settings(
        mould=read_mould_settings(mould, scene),
        dressing=dressing(**values_of(kept.dressing, dressing)),
        laminate=laminate.LaminateSettings(
            **values_of(kept.laminate, laminate.LaminateSettings),
            coats=tuple(laminate.Coat(**values_of(coat, laminate.Coat)) for coat in kept.coats),
            consumed=laminate.Consumed(**values_of(kept.consumed, laminate.Consumed)),
            rates=laminate.Rates(
                **values_of(kept.rates, laminate.Rates), cloth=_cloth_prices(kept, laminate)
            ),
        ),
        nest=nest(**values_of(kept.nest, nest)),
        paper=paper(**values_of(kept.paper, paper)),
        files=files(**values_of(kept.files, files)),
        edge_mm=_short(kept.edge_mm) if kept.use_edge_mm else None,
    )


def _cloth_prices(kept: Any, laminate: Any) -> tuple[Any, ...]:
    """Return a square metre's price of each cloth, from its first roll; none while all are zero.

    Counts where nothing has been nested yet: afterwards the cloth cut off the roll does.
    """
    prices = {}
    for roll in kept.rolls:
        price = _short(roll.price_per_m / (roll.width_mm / 1000))
        prices[roll.fabric] = prices.get(roll.fabric) or price
    if not any(prices.values()):
        return ()
    ids = [cloth.id for cloth in kept.cloths]
    return tuple(laminate.ClothPrice(fabric=id, per_m2=prices.get(id, 0.0)) for id in ids)


def read_mould_settings(mould: bpy.types.Object, scene: bpy.types.Scene) -> Any:
    """Return what the mould is checked against."""
    own, kind = mould.mouldply, engine.load("mould.settings").MouldSettings
    return kind(
        **values_of(own, kind, skip=("pull", "build")),
        pull="auto" if own.pull_by == "auto" else tuple(_short(v) for v in own.pull),
        build=tuple(_short(v) for v in own.build),
        trim_mm=_short(scene.mouldply.dressing.trim_mm),
    )


def read_cloth(cloth: bpy.types.PropertyGroup) -> Any:
    """Return a cloth of the file as the engine's Fabric."""
    kind = engine.load("cloth.fabric").Fabric
    return kind(**{**values_of(cloth, kind), "id": cloth.id, "name": cloth.name})


def _rosette(arrows: bpy.types.Object, scene: bpy.types.Scene) -> Any:
    origin = bridge.points_to_mm(arrows, scene, [[0, 0, 0]])[0]
    return engine.load("surface.rosette").Rosette(
        origin,
        bridge.direction_to_world(arrows, (1, 0, 0)),
        bridge.direction_to_world(arrows, (0, 0, 1)),
    )


def _ply(mould: bpy.types.Object, scene: bpy.types.Scene, ply: Any) -> dict[str, Any]:
    """Return a ply's values but its faces."""
    kind = engine.load("laminate.ply").Ply
    values = values_of(ply, kind, skip=("cuts", "rosette", "faces", "tack_mm"))
    return {
        **values,
        "id": ply.id,
        "name": ply.name,
        "fabric": ply.fabric,
        "tack_mm": bridge.points_to_mm(mould, scene, [tuple(ply.tack)])[0]
        if ply.use_tack
        else None,
        "cuts": read_cuts(mould, scene, ply.id),
        "rosette": _rosette(ply.rosette, scene) if ply.rosette else None,
    }


def _refuse_bare(plies: tuple[dict[str, Any], ...], taken: MouldTaken) -> None:
    """Refuse a ply without faces at once, not only once its job has been worked out."""
    for ply in plies:
        if not taken.regions[ply["id"]].any():
            raise engine.load("errors").InputError(
                f"Ply '{ply['name']}' has no faces.",
                "Select its faces on the mould and assign them.",
            )


def _stock(scene: bpy.types.Scene, cloths: tuple[Any, ...]) -> Any:
    """Return rolls and offcuts of these cloths; a cloth without a roll gets one of its width."""
    stock = engine.load("nest.roll")
    rolls = []
    for cloth in cloths:
        mine = [roll for roll in scene.mouldply.rolls if roll.fabric == cloth.id]
        rolls += [_roll(roll, stock.Roll) for roll in mine]
        if not mine:
            rolls.append(
                stock.Roll(id=f"{cloth.name} roll", fabric=cloth.id, width_mm=cloth.roll_width_mm)
            )
    ids = {cloth.id for cloth in cloths}
    offcuts = [
        _offcut(offcut, stock.Offcut)
        for offcut in scene.mouldply.offcuts
        if offcut.fabric in ids and offcut.used
    ]
    return stock.Stock(rolls=tuple(rolls), offcuts=tuple(offcuts))


def _roll(roll: Any, kind: Any) -> Any:
    return kind(
        id=roll.name,
        fabric=roll.fabric,
        width_mm=_short(roll.width_mm),
        length_mm=None if roll.endless else _short(roll.length_mm),
        selvedge_mm=_short(roll.selvedge_mm),
        price_per_m=_short(roll.price_per_m),
        defects=tuple(
            engine.load("nest.roll").Defect(
                x_mm=_short(flaw.x_mm), y_mm=_short(flaw.y_mm), radius_mm=_short(flaw.radius_mm)
            )
            for flaw in roll.defects
        ),
    )


def _offcut(offcut: Any, kind: Any) -> Any:
    import json

    x, y = _short(offcut.length_mm), _short(offcut.width_mm)
    outline = json.loads(offcut.outline) if offcut.outline else [[0, 0], [x, 0], [x, y], [0, y]]
    return kind(id=offcut.name, fabric=offcut.fabric, outline=outline)


def _refuse_lost_regions(mould: bpy.types.Object, taken: MouldTaken) -> None:
    """A modifier that makes a new mesh drops the faces' attributes: say so, not 'no faces'."""
    for ply in mould.mouldply.plies:
        name = mesh_data.region_attribute(ply.id)
        if name in mould.data.attributes and not taken.regions[ply.id].any():
            if not mesh_data.face_values(mould.data, name).any():
                continue
            raise engine.load("errors").InputError(
                f"The modifiers of '{mould.name}' lose the faces of ply '{ply.name}'.",
                "Apply the modifiers (Object > Apply > Visual Geometry), then assign the faces "
                "again.",
            )


def _short(value: float) -> float:
    """Return a single-precision number as it was typed."""
    return float(f"{value:.7g}")
