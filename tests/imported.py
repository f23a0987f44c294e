"""Which modules the files of a folder import, read from their text."""

from __future__ import annotations

import ast
from pathlib import Path


def modules_imported(path: Path) -> list[str]:
    """Return the names of the modules that one Python file imports."""
    names: list[str] = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names += [alias.name for alias in node.names]
        if isinstance(node, ast.ImportFrom):
            names.append(node.module or "")
    return names
