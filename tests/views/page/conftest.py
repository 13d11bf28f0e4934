from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from tests.views.page.nights import Place, made


@pytest.fixture
def place(tmp_path: Path) -> Place:
    return made(tmp_path)


@pytest.fixture
def client(place: Place) -> Iterator[TestClient]:
    with place.client() as found:
        yield found
