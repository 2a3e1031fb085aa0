"""How to add the packages of an extra to the Python that runs."""

import os
import sys

EXTRAS = {
    "live": ("sounddevice>=0.4.6",),
    "window": ("PySide6-Essentials>=6.9,<6.12", "pyqtgraph>=0.13.7", "sounddevice>=0.4.6"),
    "report": ("jinja2>=3.1", "fpdf2>=2.8.3", "fontpkg-noto-sans>=2.15", "pyloudnorm>=0.1.1"),
}
"""The extras of pyproject.toml."""


def how_to_install(extra: str) -> str:
    """Return the command that adds an extra's packages, by their own names.

    That holds for a wheel as well as for a checkout, in any directory; the extra's name would need this
    program to be found under its own name by pip.
    """
    packages = " ".join(f'"{package}"' for package in EXTRAS[extra])
    return f"install it with: {_python()} -m pip install {packages}"


def _python() -> str:
    """Return the running Python as one would type it here."""
    path = sys.executable or "python"
    try:
        inside = os.path.relpath(path)
    except ValueError:  # on another drive
        inside = path
    if not inside.startswith(os.pardir) and os.path.dirname(inside):
        path = inside
    return f'"{path}"' if " " in path else path
