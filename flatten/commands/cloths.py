"""`mouldply cloths`: the cloth library, and a cloth's locking angle from the bench."""

from __future__ import annotations

import argparse
import json

from ..errors import InputError
from . import extras
from .typed import MM_OR_UNIT, length_mm

WARN_BELOW_DEG = 10.0  # the supplied cloths warn so far below their locking angle
CLOTHS_HELP = """\
List the cloths `new` can lay: id, weight, usual roll width, name. Values are typical; your cloth's
data sheet comes first. A data sheet seldom tells the locking angle: measure it on yours.

  mouldply cloths                                     the list
  mouldply cloths --library my_cloths.json            with your own
  mouldply cloths --json > my_cloths.json             a file to begin your own from
  mouldply cloths yarn --width 1.8 --spacing 2.5      locking angle from the weave under a lens
  mouldply cloths strip --length 200 --width 100 --extension 22    the same from a pulled strip
"""
YARN_HELP = """\
Yarns that turn against each other lie side by side, and jam, at the shear whose cosine is their
width over their spacing. This is a lower bound: they narrow a little before they jam. Count, say,
twenty yarns along a ruler and divide; measure the width at a few of them, uncompressed.

  mouldply cloths yarn --width 1.8 --spacing 2.5
  mouldply cloths yarn --width 0.07in --spacing "1/10 in" --json
"""
STRIP_HELP = """\
Cut a strip at 45 degrees to the yarns, at least twice as long as wide. Clamp both ends, pull it
longer, and read how much longer it is where its middle first wrinkles or the pull grows steep. The
yarns of the middle have turned to the locking angle there. Length is what is free between clamps.

  mouldply cloths strip --length 200 --width 100 --extension 22
  mouldply cloths strip --length 8in --width 4in --extension "7/8 in" --json
"""


def add_parsers(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command and its two measurements."""
    cloths = commands.add_parser(
        "cloths",
        help="list the cloth library; a locking angle from the bench",
        description=CLOTHS_HELP,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    extras.add_library(cloths)
    cloths.add_argument("--json", action="store_true", help="print them as a file of cloths")
    cloths.set_defaults(command=cloths_command)
    ways = cloths.add_subparsers(title="locking angle of a cloth at hand", metavar="FROM")
    yarn = ways.add_parser(
        "yarn",
        help="from the width and spacing of its yarns",
        description=YARN_HELP,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    _add_lengths(
        yarn, {"width": "of one yarn", "spacing": "from the middle of a yarn to the next one's"}
    )
    yarn.set_defaults(command=yarn_command)
    strip = ways.add_parser(
        "strip",
        help="from a strip pulled along its bias",
        description=STRIP_HELP,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    _add_lengths(
        strip,
        {
            "length": "of the strip between the clamps",
            "width": "of the strip",
            "extension": "how much longer it is when it wrinkles",
        },
    )
    strip.set_defaults(command=strip_command)


def _add_lengths(parser: argparse.ArgumentParser, told: dict[str, str]) -> None:
    for name, what in told.items():
        parser.add_argument(
            f"--{name}",
            type=length_mm,
            required=True,
            metavar="MM",
            help=what + MM_OR_UNIT,
        )
    parser.add_argument("--json", action="store_true", help="print the angles as JSON")


def cloths_command(given: argparse.Namespace) -> int:
    """Print every cloth of the library."""
    from ..cloth.library import fabrics_text, load_fabrics

    every = load_fabrics(given.library).values()
    if given.json:
        print(fabrics_text(every), end="")
        return 0
    for cloth in every:
        width = f"{cloth.roll_width_mm:.0f} mm wide"
        print(f"{cloth.id:26} {cloth.areal_weight_gsm:6.0f} g/m2  {width:14} {cloth.name}")
    return 0


def yarn_command(given: argparse.Namespace) -> int:
    """Tell the locking angle of yarns of a width and a spacing."""
    from ..cloth.shear_limit import locking_angle_deg

    angle = locking_angle_deg(yarn_width_mm=given.width, yarn_spacing_mm=given.spacing)
    _tell(
        angle,
        f"yarns {given.width:g} mm wide, {given.spacing:g} mm from one to the next. A lower bound.",
        "Measure width and spacing of the yarns again.",
        as_json=given.json,
    )
    return 0


def strip_command(given: argparse.Namespace) -> int:
    """Tell the locking angle of a strip that wrinkles at an extension."""
    from ..cloth.shear_limit import bias_extension_shear_deg

    angle = bias_extension_shear_deg(
        length_mm=given.length, width_mm=given.width, extension_mm=given.extension
    )
    _tell(
        angle,
        f"a strip of {given.length:g} x {given.width:g} mm, pulled {given.extension:g} mm longer.",
        "Enter the extension at which the strip first wrinkles.",
        as_json=given.json,
    )
    return 0


def _tell(angle_deg: float, of: str, hint: str, *, as_json: bool) -> None:
    lock = round(angle_deg, 1) + 0.0  # no minus before a zero
    if not 0 < lock < 90:
        raise InputError(f"The locking angle comes out as {lock:g} degrees: {of}", hint)
    warn = round(max(lock - WARN_BELOW_DEG, lock / 2), 1)
    if as_json:
        print(json.dumps({"shear_lock_deg": lock, "shear_warn_deg": warn}))
        return
    print(f"Locking angle {lock:g} degrees: {of}")
    print(f'  "shear_lock_deg": {lock:g},')
    print(f'  "shear_warn_deg": {warn:g},')
    print(
        'Without Blender: put both into your cloth, under "fabrics" in a job folder\'s job.json,\n'
        "or in a file of cloths that --library names.\n"
        "In Blender: enter them as Locks at Shear and Warn at Shear, then Keep in Library; or put\n"
        "them into a file of cloths (Export Cloths writes one) and bring it in by Import Cloths."
    )
