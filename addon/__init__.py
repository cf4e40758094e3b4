"""mouldply in Blender: a mould becomes plies, patterns and cut files.

Importing this package imports nothing else, so that enabling the add-on stays quick and the
command line may ask for its .blend reader without Blender.
"""

from __future__ import annotations


def register() -> None:
    """Make the add-on known to Blender."""
    from . import registration

    registration.register()


def unregister() -> None:
    """Take the add-on back out of Blender, ending whatever it started."""
    from . import registration

    registration.unregister()
