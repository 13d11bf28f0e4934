"""Everything that openapi.json permits, and much that it does not, asked of the real page.

schemathesis makes the requests from the description and holds the answers against it: nothing
may end in a fault of ours, in a status or a form that is not described, or be let in that the
description forbids. The page is asked in this process; the requests are the same every time.
"""

from __future__ import annotations

import json
from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, settings
from schemathesis import Case, HookContext

from harness.views.page.app import make_app
from harness.views.page.guard import App
from harness.views.page.page import HERE
from tests.views.page.nights import FAILED, ORIGIN, QUAY, RUN, STEP, TOKEN, Place, made

CHECKS = {
    # It leaves out the token of the description, and not the one that every request shows here:
    # who may not come in is tests/views/page/test_security.py's.
    "ignored_auth": {"enabled": False},
    # The description cannot say which of the texts that it permits make sense.
    "positive_data_acceptance": {"enabled": False},
    "negative_data_rejection": {
        "expected-statuses": ["400", "401", "403", "404", "405", "409", "413", "414"]
    },
}
SCHEMA = schemathesis.openapi.from_dict(
    json.loads((HERE / "openapi.json").read_text(encoding="utf-8")),
    config=schemathesis.Config.from_dict({"seed": 1117, "checks": CHECKS}),
)


class Asked:
    """The page, which is there only when the tests run; schemathesis wants it before."""

    app: App

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        await self.app(scope, receive, send)


PAGE = Asked()
SCHEMA.app = PAGE


@SCHEMA.hook
def map_path_parameters(context: HookContext, path_parameters: dict[str, Any] | None) -> Any:
    """Let every other address lead somewhere: one made at random never would."""
    if not path_parameters or "run" not in path_parameters:
        return path_parameters
    if len(str(path_parameters["run"])) % 2:
        return path_parameters
    known = {"run": RUN, "cell": FAILED if len(repr(path_parameters)) % 2 else QUAY, "attempt": 1}
    return {name: known.get(name, value) for name, value in path_parameters.items()}


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Place:
    found = made(tmp_path_factory.mktemp("described"))
    found.journal_of(STEP)
    PAGE.app = make_app(found.page())
    return found


@SCHEMA.parametrize()
@settings(
    max_examples=6,
    deadline=None,
    derandomize=True,
    database=None,
    suppress_health_check=list(HealthCheck),
)
def test_whatever_is_asked_is_answered_as_described(case: Case[Any], place: Place) -> None:
    place.steady_s += 60.0  # nobody asks too often
    case.call_and_validate(base_url=ORIGIN, headers={"authorization": f"Bearer {TOKEN}"})
