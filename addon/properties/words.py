"""The words beside every setting: label, tooltip, and what a menu offers.

Longer than most files: a table, one entry for each setting.
"""

from __future__ import annotations

from .records import Words as W

CLOTH = {
    "kind": W(
        "Kind",
        "How the cloth is made; decides how it drapes",
        {
            "weave": ("Weave", "Two sets of threads over and under: plain, twill, satin"),
            "unidirectional": ("Unidirectional", "All fibres run along the roll"),
            "biaxial": ("Stitched biaxial", "Two layers of fibres at an angle, stitched together"),
            "mat": ("Chopped mat", "Short fibres without a direction"),
            "film": ("Film", "Release film, vacuum film: no fibres"),
        },
    ),
    "areal_weight_gsm": W(
        "Weight (g/m²)", "Dry cloth, grams in a square metre", least=1, most=1e4, digits=0
    ),
    "fibre_density_g_cm3": W(
        "Fibre (g/cm³)", "Grams in a cubic centimetre of fibre", least=0.2, most=20
    ),
    "dry_thickness_mm": W("Dry Thickness", "Of the cloth before it is wet", most=100),
    "roll_width_mm": W("Roll Width", "As it is usually sold, selvedge to selvedge"),
    "shear_warn_deg": W(
        "Warn at Shear", "Shear angle from which the cloth gets stiff", start=40, most=89
    ),
    "shear_lock_deg": W(
        "Locks at Shear", "Shear angle beyond which the cloth wrinkles", start=50, most=89
    ),
    "shear_lock_opening_deg": W(
        "Locks Opening",
        "For a stitched cloth that shears further one way: the limit as its threads open",
        start=50,
        most=89,
    ),
    "balanced": W("Warp and Weft Alike", "A quarter turn on the roll changes nothing"),
    "has_face": W("Two Different Sides", "Patterns of it are never turned over"),
    "fibre_angles_deg": W("Fibres Run At", "Directions of the fibres against the roll, in degrees"),
    "stiffness_across": W(
        "Stiffness Across",
        "Across the fibres, as a share of the stiffness along them",
        most=1e3,
        digits=3,
    ),
    "stiffness_shear": W(
        "Shear Stiffness",
        "To shear, as a share of the stiffness along the fibres",
        most=1e3,
        digits=5,
    ),
    "stretch_limit_across": W(
        "Spread Across",
        "Unidirectional: how far it may spread across its fibres, as a share",
        most=0.99,
    ),
    "lap_mm": W("Lap", "Width of the lap at a joint; zero butts the edges"),
    "fibre": W("Fibre", "Carbon, glass, aramid, flax ..."),
    "dry": W("Takes Up Resin", "Off for films and peel ply, which do not stay in the part"),
    "source": W("Values From", "Where these values come from"),
}

DRESSING = {
    "trim_mm": W("Trim Allowance", "Cloth past the part's edge, cut back after cure"),
    "corner": W(
        "Corners",
        "How the allowance turns round a corner",
        {
            "mitre": ("Pointed", "Extended to a point"),
            "round": ("Round", "Rounded, easier to cut"),
        },
    ),
    "trim_on_mould": W(
        "Drape the Allowance",
        "Where the mould goes on past the part's edge, the allowance is draped over it too",
    ),
    "notch_every_mm": W("Notch Every", "Distance of matching marks along a joint, on the mould"),
    "notch_style": W(
        "Notches",
        "How joints are marked; never a snip into the fibres",
        {
            "mark": ("Pen Mark", "A stroke across the edge"),
            "tab": ("Tab", "A small tab outwards"),
        },
    ),
    "notch_length_mm": W("Notch Length", "Length of a notch"),
    "text_mm": W("Lettering", "Height of the letters on a pattern"),
    "patch_gaps": W(
        "Patch Gaps", "Cut a patch where a dart stays open on the mould and no lap covers it"
    ),
    "relieve": W("Slit Tight Curves", "Slit the allowance, never the part, at tight hollow curves"),
    "smooth_mm": W("Smooth Within", "Outlines are smoothed by no more than this"),
}

LAMINATE = {
    "process": W(
        "Process",
        "How the laminate is made; sets the usual fibre share",
        {
            "hand": ("Open Hand Lay-up", "Brush and roller, no bag"),
            "bagged": ("Hand Lay-up, Bagged", "Wet by hand, then pressed by vacuum"),
            "infusion": ("Infusion", "Laid dry, resin drawn in by vacuum"),
            "mat": ("Mat Lay-up", "Chopped mat, brush and roller"),
        },
    ),
    "stack_order": W(
        "Order",
        "How the list of plies is laid",
        {
            "as_listed": ("As Listed", "From the first to the last"),
            "symmetric": ("Listed, then Mirrored", "And then backwards, the last ply twice"),
            "symmetric_middle_once": (
                "Mirrored about the Last",
                "And then backwards, the last ply once: it is the middle",
            ),
        },
    ),
    "stack_times": W("Times", "The list is laid so often before it is mirrored", least=1, most=200),
    "fibre_volume_fraction": W(
        "By Volume",
        "Share of fibre in the laminate by volume; off: what the process usually gives",
        start=0.35,
        most=0.95,
        least=0.01,
    ),
    "fibre_mass_fraction": W(
        "By Mass",
        "Share of fibre in the laminate by mass, instead of by volume",
        start=0.5,
        most=0.95,
        least=0.01,
    ),
    "void_fraction": W("Voids", "Share of air in the laminate", most=0.5),
    "resin_density_g_cm3": W("Resin (g/cm³)", "Cured, from the data sheet", least=0.5, most=5),
    "mix_by": W(
        "Ratio By",
        "What the mixing ratio counts; read it from the data sheet",
        {
            "weight": ("Weight", "Parts by weight: use a scale"),
            "volume": ("Volume", "Parts by volume: both liquid densities are needed"),
        },
    ),
    "mix_resin": W("Resin", "Parts of resin in the mixing ratio", least=0.01, digits=1),
    "mix_hardener": W("Hardener", "Parts of hardener in the mixing ratio", least=0.01, digits=1),
    "liquid_resin_density_g_cm3": W("Liquid Resin", "Of the resin in the can", start=1.15, most=5),
    "hardener_density_g_cm3": W(
        "Hardener Density", "Of the hardener in the can", start=1.0, most=5
    ),
    "brush_loss": W("Left in the Cup", "Share of the resin left in brush and cup", most=5),
    "small_loss": W("Left, Small", "The same for a small job: brush and cup do not shrink", most=5),
    "small_job_g": W("Small up to (g)", "Grams of resin that count as a small job", digits=0),
    "pot_limit_g": W(
        "Batch up to (g)",
        "Mix no more than this at once, in grams: large batches run hot",
        least=1,
        digits=0,
    ),
    "pot_life_min": W(
        "Pot Life (min)", "Minutes, from the data sheet", least=1, most=1e4, digits=0
    ),
    "pot_life_at_c": W(
        "At (°C)", "Temperature the data sheet gives it for, °C", least=-10, most=60, digits=1
    ),
    "shop_c": W("Shop (°C)", "Where you work, °C", least=-10, most=60, digits=1),
    "spread_g_per_min": W(
        "Wet Out (g/min)", "Grams of resin one person spreads in a minute", least=0.1, digits=0
    ),
    "scale_step_g": W("Scale Step (g)", "Smallest step of the scale, grams", least=0.01, most=100),
    "drop_off_ratio": W(
        "Drop-off", "Length of a step down for each mm of height", most=1000, digits=0
    ),
}

COAT = {
    "kind": W(
        "Coat",
        "A layer of resin without cloth",
        {
            "gel": ("Gel Coat", "Brushed onto the mould first: the outside of the part"),
            "surface": ("Surface Coat", "Laminating resin onto the mould, under the first ply"),
            "flow": ("Flow Coat", "Onto the inside at last, to seal it"),
        },
    ),
    "thickness_mm": W("Thickness", "As it is laid on, over the whole part", most=20),
    "density_g_cm3": W("Density (g/cm³)", "Of the coat, from the data sheet", least=0.5, most=25),
    "mix_resin": W("Resin", "Parts by weight in the mixing ratio", least=0.01, digits=1),
    "mix_hardener": W("Hardener", "Parts by weight in the mixing ratio", least=0.01, digits=1),
    "loss": W("Left in the Cup", "Share left in brush, roller and cup", most=5),
}

CONSUMED = {
    "peel_ply": W("Peel Ply", "Whether the part is covered with peel ply"),
    "breather": W("Breather", "Whether breather lies under the bag"),
    "peel_ply_factor": W("Peel Ply", "Square metres for each square metre of part", most=20),
    "film_factor": W("Release Film", "Square metres for each square metre of part", most=20),
    "breather_factor": W("Breather", "Square metres for each square metre of part", most=20),
    "flow_mesh_factor": W("Flow Mesh", "Square metres for each square metre of part", most=20),
    "bag_factor": W("Bag Film", "Square metres for each square metre of part", most=20),
    "tape_factor": W("Sealant Tape", "Metres for each metre of the part's edge", most=20),
    "release_coats": W("Release Coats", "Times the mould is wiped with release agent", most=50),
    "release_gsm": W("Release (g/m²)", "Release agent for one coat", most=1e5, digits=0),
    "peel_ply_uptake_gsm": W(
        "In Peel Ply (g/m²)", "Resin the peel ply holds back", most=1e5, digits=0
    ),
    "breather_uptake_gsm": W(
        "In Breather (g/m²)", "Resin the breather holds back", most=1e5, digits=0
    ),
    "flow_mesh_uptake_gsm": W(
        "In Flow Mesh (g/m²)", "Resin the flow mesh holds back", most=1e5, digits=0
    ),
    "lines_g": W("In the Lines (g)", "Resin left in infusion lines and trap", most=1e5, digits=0),
}

RATES = {
    "currency": W("Currency", "Shown beside prices"),
    "resin_per_kg": W("Resin per kg", "Price of resin and hardener, mixed"),
    "coat_per_kg": W("Coats per kg", "Price of gel coat and flow coat, mixed"),
    "peel_ply_per_m2": W("Peel Ply per m²", "Price of peel ply"),
    "film_per_m2": W("Release Film per m²", "Price of release film"),
    "breather_per_m2": W("Breather per m²", "Price of breather"),
    "flow_mesh_per_m2": W("Flow Mesh per m²", "Price of flow mesh"),
    "bag_per_m2": W("Bag per m²", "Price of vacuum film"),
    "tape_per_m": W("Tape per m", "Price of sealant tape"),
    "release_per_kg": W("Release per kg", "Price of release agent"),
    "labour_per_hour": W("Labour per Hour", "What an hour at the bench costs"),
    "cut_m_per_min": W(
        "Cutting (m/min)", "Metres of outline one person cuts in a minute", least=0.01
    ),
    "lay_min_per_m2": W("Laying (min/m²)", "Placing and smoothing a ply, wetting not counted"),
    "lay_min_per_piece": W("Piece (min)", "Fetching and placing one piece"),
    "mix_min_per_batch": W("Batch (min)", "Weighing and mixing one batch"),
    "release_min_per_m2": W("Release min/m²", "Wiping on one coat of release agent"),
    "bag_min_per_m": W("Bagging (min/m)", "Along the part's edge"),
}

NEST = {
    "gap_mm": W("Gap", "Between pieces: fray and the width of the cut", most=1000),
    "turn_tolerance_deg": W(
        "May Turn By", "How far off the warp a piece may lie to save cloth", most=15
    ),
    "kits": W("Kits", "How many parts are cut at once", most=1000),
    "mirrored_kits": W("Mirrored Kits", "Parts of the other hand, besides", most=1000),
    "common_edges": W("Share Straight Cuts", "Two pieces may share one cut along a straight edge"),
    "turn_over": W(
        "Cut from the Back", "Pieces may be cut turned over, where the cloth has no face side"
    ),
    "seconds": W(
        "Search (s)",
        "Seconds of search for each cloth; 0 keeps the simple layout",
        most=86_400,
        digits=0,
    ),
}

PAPER = {
    "roll_width_mm": W("Plotter Roll", "Width of a roll plotter; off: sheets", start=914),
    "orientation": W(
        "Sheets Lie",
        "Which way the sheets are turned",
        {
            "auto": ("As Needed", "Whichever needs fewer sheets"),
            "portrait": ("Upright", ""),
            "landscape": ("Lengthwise", ""),
        },
    ),
    "margin_mm": W("Margin", "What the printer cannot reach", most=100),
    "lap_mm": W("Lap", "Strip that goes under the neighbouring sheet", most=100),
    "scale_x": W(
        "Bar Across",
        "Print the test sheet: measured length of the 100 mm line across, divided by 100",
        least=0.5,
        most=1.5,
        digits=4,
    ),
    "scale_y": W("Bar Along", "The same along the sheet", least=0.5, most=1.5, digits=4),
}

FILES = {
    "dxf": W(
        "DXF",
        "Version of the cutter files",
        {
            "R2010": ("R2010", "Declares millimetres"),
            "R12": ("R12", "For old machines; text and check square say mm"),
        },
    ),
    "one_file_per_piece": W("A File per Piece", "Besides the file of all pieces"),
    "only_cut_lines": W("Cut Lines Only", "Nothing but what a knife follows"),
    "text_as_strokes": W("Text as Strokes", "For machines that draw no text"),
    "arcs": W("Arcs", "Write arcs where chords lie on one circle"),
    "engrave": W("Engraved Mould", "Also a copy of the mould with ply outlines as grooves (STL)"),
    "groove_depth_mm": W("Groove Depth", "Of the engraved lines", least=0.05, most=20),
    "groove_width_mm": W("Groove Width", "Of the engraved lines", least=0.05, most=20),
}

ROLL = {
    "width_mm": W("Width", "Selvedge to selvedge"),
    "selvedge_mm": W("Selvedge", "Not used, at either edge", most=1000),
    "price_per_m": W("Price per Metre", "Of roll length"),
}
