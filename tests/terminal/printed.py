"""What a command has printed, read again."""

import json
from typing import Any

import pytest


def document(capsys: pytest.CaptureFixture[str]) -> Any:
    """The JSON document on standard output."""
    return json.loads(capsys.readouterr().out)
