"""A computation in a thread beside the window; a timer looks whether it is done.

Only for what knows no Blender: digests and files of large arrays, during which Python lets the
window go on.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any


class Aside:
    """One computation under way."""

    def __init__(self, work: Callable[[], Any]) -> None:
        self._work = work
        self._result: Any = None
        self._error: BaseException | None = None
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    @property
    def done(self) -> bool:
        """Whether it has ended, well or not."""
        return not self._thread.is_alive()

    def result(self) -> Any:
        """Return what it found, or raise what it raised; waits until it has ended."""
        self._thread.join()
        if self._error is not None:
            raise self._error
        return self._result

    def _run(self) -> None:
        try:
            self._result = self._work()
        except BaseException as error:  # noqa: BLE001 - raised again where the result is asked for
            self._error = error
