"""The sidebar."""


def register() -> None:
    """Nothing yet."""


def unregister() -> None:
    """Nothing yet."""
