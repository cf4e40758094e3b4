"""The command line: `mouldply`, and the same as `python -m flatten`."""

from __future__ import annotations

import argparse
import errno
import os
import sys
from collections.abc import Sequence

from . import __version__
from .errors import FlattenError

DONE, CHANGE_SOMETHING = 0, 2  # 1 is what Python itself ends with after a bug
FULL = (errno.ENOSPC, errno.EFBIG, errno.EIO)  # where the output was sent, nothing more goes in

ABOUT = """\
From a mould to cut cloth: plies drawn on a mould model become flat patterns, a nested roll,
cutter files, full-size paper templates and a lay-up sheet. Lengths are millimetres.

  mouldply run hatch.blend --out cut/     everything, from a Blender file
  mouldply run my_job/ --out cut/         the same from a job folder
  mouldply check hatch.blend              look at mould and plies, write nothing
  mouldply new tray.stl --plies 0,45,0    a job folder from an STL, without Blender
  mouldply show cut/                      one HTML file of the result, to look at and turn
"""
ENDING = """\
Exit codes: 0 done; 2 you must change something (one line says what and how); 1 a bug.
Cloth on a mould is craft: follow the resin's data sheet and your shop's safety rules first.
"""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; return the exit code."""
    _have_somewhere_to_say_it()
    parser = _parser()
    given = parser.parse_args(arguments)
    if not hasattr(given, "command"):
        parser.print_help()
        return DONE
    try:
        code: int = given.command(given)
        sys.stdout.flush()
    except FlattenError as error:
        from .commands.show import tell_error

        tell_error(error, given)
        return CHANGE_SOMETHING
    except BrokenPipeError:  # the reader, `head` for one, has seen enough
        _say_no_more()
        return DONE
    except OSError as error:
        if error.filename is not None or error.errno not in FULL:
            raise
        _say_no_more()
        print(f"mouldply: the answer cannot be written: {error.strerror}.", file=sys.stderr)
        return CHANGE_SOMETHING
    return code


def _have_somewhere_to_say_it() -> None:
    """Closed by the caller, the standard outputs are None: what is said then goes nowhere."""
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:
            setattr(sys, name, open(os.devnull, "w", encoding="utf-8"))  # noqa: SIM115


def _say_no_more() -> None:
    """Send what is left to say nowhere: Python would say it again on its way out."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _parser() -> argparse.ArgumentParser:
    from .commands import cloths, completion, cuts, new, page, printer, report, run, stock, tack

    parser = argparse.ArgumentParser(
        prog="mouldply",
        description=ABOUT,
        epilog=ENDING,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="version", version=f"mouldply {__version__}")
    commands = parser.add_subparsers(title="commands", metavar="COMMAND")
    run.add_parsers(commands)
    new.add_parsers(commands)
    cloths.add_parsers(commands)
    stock.add_parsers(commands)
    tack.add_parsers(commands)
    cuts.add_parsers(commands)
    printer.add_parsers(commands)
    page.add_parsers(commands)
    report.add_parsers(commands)
    completion.add_parsers(commands)
    return parser


if __name__ == "__main__":
    sys.exit(main())
