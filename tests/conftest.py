"""What holds for all tests."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest

from sporecount.scale.saved import CONFIG_DIR_VARIABLE


@pytest.fixture(scope="session", autouse=True)
def _no_settings_of_one_s_own(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Keep scales and microscopes of whoever runs the tests out of them."""
    before = os.environ.get(CONFIG_DIR_VARIABLE)
    folder: Path = tmp_path_factory.mktemp("config")
    os.environ[CONFIG_DIR_VARIABLE] = str(folder)
    yield
    if before is None:
        del os.environ[CONFIG_DIR_VARIABLE]
    else:
        os.environ[CONFIG_DIR_VARIABLE] = before
